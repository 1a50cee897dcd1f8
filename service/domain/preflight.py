"""The preflight report: what a customer should know of a picture before it is made.

Every remark is always there, in the same order, so that two reports can be laid side by side. The
thresholds are those of the shop's policy, which the rules read too: where a rule on the picture
alone refuses it at a width, the report at that width asks for a look at least.
"""

from __future__ import annotations

from collections.abc import Callable

from service.domain.preflight_colours import (
    colours_remark,
    gamut_remark,
    near_white_remark,
    photograph_remark,
)
from service.domain.preflight_outline import (
    feature_remark,
    gap_remark,
    soft_edges_remark,
    weeding_remark,
)
from service.domain.preflight_size import (
    background_remark,
    margin_remark,
    proportions_remark,
    resolution_remark,
    sharpness_remark,
    visible_remark,
)
from service.domain.remarks import Remark, Shown

REMARKS: tuple[Callable[[Shown], Remark], ...] = (
    visible_remark,
    resolution_remark,
    sharpness_remark,
    margin_remark,
    proportions_remark,
    background_remark,
    soft_edges_remark,
    colours_remark,
    photograph_remark,
    near_white_remark,
    gamut_remark,
    feature_remark,
    gap_remark,
    weeding_remark,
)


def preflight(shown: Shown) -> tuple[Remark, ...]:
    """The report on a picture, from its measures alone; takes about a millisecond."""
    return tuple(remark(shown) for remark in REMARKS)
