"""The states of a run and what is done to it, as one table.

    proposed ─accept→ accepted ─dissolve→ dissolved

A proposal is dissolved as it stands. ``reprint`` asks for spoiled pieces anew and leaves the run
accepted. Once work has begun on an accepted run its film is cut, so it is dissolved no more.
"""

from __future__ import annotations

from collections.abc import Mapping
from enum import StrEnum
from types import MappingProxyType


class RunState(StrEnum):
    """Where a run stands."""

    PROPOSED = "proposed"
    ACCEPTED = "accepted"
    DISSOLVED = "dissolved"


class RunAct(StrEnum):
    """What someone does to a run; ``propose`` makes it."""

    PROPOSE = "propose"
    ACCEPT = "accept"
    REPRINT = "reprint"
    DISSOLVE = "dissolve"


_S, _A = RunState, RunAct

ACTS: Mapping[tuple[RunState, RunAct], RunState] = MappingProxyType(
    {
        (_S.PROPOSED, _A.ACCEPT): _S.ACCEPTED,
        (_S.PROPOSED, _A.DISSOLVE): _S.DISSOLVED,
        (_S.ACCEPTED, _A.REPRINT): _S.ACCEPTED,
        (_S.ACCEPTED, _A.DISSOLVE): _S.DISSOLVED,
    }
)
"""Every act but the first with the state after it."""


def legal_acts(state: RunState, *, begun: bool = False) -> tuple[RunAct, ...]:
    """What may be done to a run in that state, in the order of :class:`RunAct`.

    ``begun`` says that something of it was printed, cut or spoiled.
    """
    acts = tuple(act for act in RunAct if (state, act) in ACTS)
    if state is RunState.ACCEPTED and begun:
        return tuple(act for act in acts if act is not RunAct.DISSOLVE)
    return acts
