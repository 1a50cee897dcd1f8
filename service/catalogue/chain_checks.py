"""Checks of a method as a whole: what no garment, colour or width could ever make right.

A method is walked as the rules walk it, so that what a rule would refuse for every customer is
refused here once, when the catalogue is loaded.
"""

from __future__ import annotations

import itertools

from service.catalogue.faults import DocumentPath, PathFaults
from service.domain.chain import Chain, walk
from service.domain.colour import lab_from_srgb_hex
from service.domain.media import Medium, Texture, WorkedFrom
from service.domain.methods import Method, OperationKind
from service.domain.shop import Catalogue, Policy

_FIXING = frozenset({OperationKind.TACK, OperationKind.PRESS})


def chain_faults(catalogue: Catalogue, method: Method, path: DocumentPath) -> PathFaults:
    """Faults of a method whose operations are sound by themselves; ``path`` is theirs."""
    chain = walk(catalogue, method)
    yield from _side_faults(chain, path)
    yield from _layer_faults(chain, catalogue.policy, path)
    yield from _dye_faults(chain, catalogue.policy, path)
    yield from _carrier_faults(chain, path)


def _side_faults(chain: Chain, path: DocumentPath) -> PathFaults:
    for worked in chain.worked:
        back = worked.medium.worked_from is WorkedFrom.BACK
        if worked.mirrored is not back:
            what = (
                f"'{worked.kind}' of method '{chain.method.id}' is "
                f"{'mirrored' if worked.mirrored else 'not mirrored'}, and medium "
                f"'{worked.medium.id}' is worked from its {worked.medium.worked_from}, so the "
                "print would read backwards"
            )
            yield (*path, worked.step, "mirrored"), what


def _layer_faults(chain: Chain, policy: Policy, path: DocumentPath) -> PathFaults:
    for lower, upper in itertools.pairwise(chain.layers):
        if not (lower.carries_layer and lower.texture is Texture.SMOOTH):
            what = (
                f"method '{chain.method.id}' lays film '{upper.id}' on film '{lower.id}', which "
                "carries no layer"
            )
            yield (*path, _first_fixed(chain, upper)), what
    if len(chain.layers) > policy.layers_max:
        what = (
            f"method '{chain.method.id}' lays {len(chain.layers)} films one on another, and "
            f"layers_max is {policy.layers_max}"
        )
        yield (*path, _first_fixed(chain, chain.layers[policy.layers_max])), what


def _dye_faults(chain: Chain, policy: Policy, path: DocumentPath) -> PathFaults:
    faded = float(policy.dye_faded_percent)
    for transfer in chain.dye:
        film = transfer.target
        if film is None:
            continue
        where, dyes = (*path, transfer.step), f"method '{chain.method.id}' dyes film '{film.id}'"
        if 100 * film.dye_share < faded:
            what = (
                f"{dyes}, of whose face {100 * film.dye_share:g} % holds dye; dye_faded_percent "
                f"is {faded:g}"
            )
            yield where, what
        lightest = max(lab_from_srgb_hex(colour.srgb).lightness for colour in film.colours)
        if lightest < policy.medium_lightness:
            what = (
                f"{dyes}, whose lightest colour has L* {lightest:.1f}: dye cannot show below "
                f"medium_lightness {policy.medium_lightness:g}"
            )
            yield where, what


def _carrier_faults(chain: Chain, path: DocumentPath) -> PathFaults:
    for film in chain.layers:
        if film.carrier and not _peeled(chain, film):
            what = (
                f"method '{chain.method.id}' never peels the carrier off film '{film.id}' before "
                "the next is pressed on it or the garment is done"
            )
            yield (*path, _first_fixed(chain, film)), what


def _peeled(chain: Chain, film: Medium) -> bool:
    """Whether the carrier comes off after the film is fixed and before another medium is."""
    for operation in chain.method.operations[_first_fixed(chain, film) + 1 :]:
        if operation.medium == film.id and operation.kind is OperationKind.PEEL:
            return True
        if operation.medium != film.id and operation.kind in _FIXING:
            return False
    return False


def _first_fixed(chain: Chain, film: Medium) -> int:
    return next(strike.step for strike in chain.strikes if strike.medium is film)
