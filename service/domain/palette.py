"""The dominant colours of an artwork: clusters in CIELAB, without randomness.

The thresholds are design choices, no source: colours nearer than ``MERGE_DELTA_E`` (CIEDE2000) are
one ink to a customer; a cluster under ``SPECK_SHARE`` of the ink is noise, unless it lies in a flat
area and holds ``ACCENT_SHARE``; one under ``BLEND_SHARE`` that lies on edges, and in colour between
two larger ones, is antialiasing. A cluster is shown as its commonest colour if that holds
``COMMONEST_SHARE`` of it.
"""

from __future__ import annotations

import itertools
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from service.domain.artwork import PaletteColour
from service.domain.colour import (
    FloatArray,
    delta_e_2000,
    hex_from_srgb,
    lab_from_srgb,
    srgb_from_lab,
)

PALETTE_MAX = 16
MERGE_DELTA_E = 4.0
SPECK_SHARE = 0.005
ACCENT_SHARE = 0.001
BLEND_SHARE = 0.05
COMMONEST_SHARE = 0.2
BLEND_REACH = 16 / 255
"""Farthest that a blend may lie from the straight line between its ends, in sRGB 0 to 1."""

_MOSTLY = 0.5
_HARDLY = 0.1
_ROUNDS = 10
_SHARE_STEPS = 10_000


@dataclass(frozen=True, slots=True, eq=False)
class _Colours:
    """Distinct colours: sRGB 0 to 1 and CIELAB (n, 3); of each, shares of all ink (n,).

    ``flat_share`` is the part of ``share`` within flat areas. ``crowd`` is the share of all colours
    in the same sixteenth of each channel.
    """

    srgb: FloatArray
    lab: FloatArray
    share: FloatArray
    flat_share: FloatArray
    crowd: FloatArray


@dataclass(frozen=True, slots=True, eq=False)
class _Cluster:
    """Indexes of some distinct colours, and the one colour they are shown as.

    ``flatness`` is the share of its ink that lies within flat areas.
    """

    members: NDArray[np.int64]
    share: float
    flatness: float
    srgb: FloatArray
    lab: FloatArray


def palette_of(
    pixels: NDArray[np.uint8], within_flat: NDArray[np.bool_]
) -> tuple[PaletteColour, ...]:
    """Up to 16 colours of inked pixels (n, 4), n >= 1, and their shares of the ink, falling.

    ``within_flat`` (n,) tells pixels of flat areas from those on edges. Shares are rounded down to
    0.0001, so that they sum to no more than 1.
    """
    colours = _distinct(pixels, within_flat)
    nearest = _settle(colours.lab, colours.share, _seeds(colours))
    clusters = [_cluster(colours, np.flatnonzero(nearest == k)) for k in np.unique(nearest)]
    for fold in (_alike, _blend, _speck):
        clusters = _folded(colours, clusters, fold)
    clusters.sort(key=lambda cluster: (-cluster.share, hex_from_srgb(cluster.srgb)))
    return tuple(
        PaletteColour(
            srgb=hex_from_srgb(cluster.srgb),
            share=int(cluster.share * _SHARE_STEPS + 1e-6) / _SHARE_STEPS,
        )
        for cluster in clusters
    )


def _distinct(pixels: NDArray[np.uint8], within_flat: NDArray[np.bool_]) -> _Colours:
    red, green, blue, alpha = pixels.astype(np.int64).T
    packed, inverse = np.unique(red << 16 | green << 8 | blue, return_inverse=True)
    codes = np.stack([packed >> 16, packed >> 8 & 255, packed & 255], axis=-1).astype(np.uint8)
    ink = alpha / alpha.sum()
    share: FloatArray = np.bincount(inverse, weights=ink).astype(np.float64)
    region = codes.astype(np.int64) // 16 @ [256, 16, 1]
    return _Colours(
        srgb=codes / 255,
        lab=lab_from_srgb(codes),
        share=share,
        flat_share=np.bincount(inverse, weights=ink * within_flat).astype(np.float64),
        crowd=np.bincount(region, weights=share)[region],
    )


def _seeds(colours: _Colours) -> FloatArray:
    """First centres (k, 3): the commonest colour, then ever the one most crowded and far off."""
    chosen = [int(np.argmax(colours.share))]
    squared = np.full(len(colours.share), np.inf)
    while len(chosen) < PALETTE_MAX:
        squared = np.minimum(squared, ((colours.lab - colours.lab[chosen[-1]]) ** 2).sum(axis=1))
        best = int(np.argmax(squared * colours.crowd))
        if squared[best] == 0:
            break
        chosen.append(best)
    return colours.lab[chosen]


def _settle(lab: FloatArray, share: FloatArray, centres: FloatArray) -> NDArray[np.int64]:
    """The number of the nearest centre of each colour (n,), after Lloyd's rounds."""
    weighted = share[:, None] * lab
    nearest = _nearest(lab, centres)
    for _ in range(_ROUNDS):
        is_of = np.eye(len(centres))[nearest]
        weight = is_of.T @ share
        # A centre that has lost all its colours stays where it was.
        moved = (is_of.T @ weighted) / np.where(weight > 0, weight, 1)[:, None]
        centres = np.where(weight[:, None] > 0, moved, centres)
        previous, nearest = nearest, _nearest(lab, centres)
        if np.array_equal(nearest, previous):
            break
    return nearest


def _nearest(lab: FloatArray, centres: FloatArray) -> NDArray[np.int64]:
    """Number of the nearest centre (n,); left out of the distance is what all centres share."""
    compared = (centres**2).sum(axis=1) - 2 * (lab @ centres.T)
    nearest: NDArray[np.int64] = np.argmin(compared, axis=1)
    return nearest


def _cluster(colours: _Colours, members: NDArray[np.int64]) -> _Cluster:
    """Shown as its commonest colour, or, where none stands out, as the mean in CIELAB."""
    share = colours.share[members]
    total = float(share.sum())
    srgb = colours.srgb[members[np.argmax(share)]]
    if share.max() < COMMONEST_SHARE * total:
        srgb = srgb_from_lab(share @ colours.lab[members] / total)
    flatness = float(colours.flat_share[members].sum()) / total
    return _Cluster(members, total, flatness, srgb, lab_from_srgb(srgb))


Fold = Callable[[list[_Cluster]], tuple[int, int] | None]
"""Names the cluster to give up, and the one it joins; None when nothing is left to fold."""


def _folded(colours: _Colours, clusters: list[_Cluster], fold: Fold) -> list[_Cluster]:
    clusters = list(clusters)
    while len(clusters) > 1 and (pair := fold(clusters)) is not None:
        given_up, joined = pair
        members = np.concatenate([clusters[joined].members, clusters[given_up].members])
        clusters[joined] = _cluster(colours, members)
        del clusters[given_up]
    return clusters


def _distances(clusters: list[_Cluster]) -> FloatArray:
    """CIEDE2000 between all clusters (k, k); infinite from each to itself."""
    labs = np.stack([cluster.lab for cluster in clusters])
    distances = delta_e_2000(labs[:, None], labs[None, :])
    np.fill_diagonal(distances, np.inf)
    return distances


def _alike(clusters: list[_Cluster]) -> tuple[int, int] | None:
    """The two nearest, if they count as one colour: the smaller joins the larger."""
    distances = _distances(clusters)
    one, other = divmod(int(np.argmin(distances)), len(clusters))
    if distances[one, other] >= MERGE_DELTA_E:
        return None
    return (one, other) if clusters[one].share < clusters[other].share else (other, one)


def _blend(clusters: list[_Cluster]) -> tuple[int, int] | None:
    """The smallest antialiased edge joins the nearer of the two colours it lies between."""
    for k in sorted(range(len(clusters)), key=lambda k: clusters[k].share):
        if clusters[k].share < BLEND_SHARE and clusters[k].flatness < _HARDLY:
            end = _nearer_end(clusters, k)
            if end is not None:
                return k, end
    return None


def _nearer_end(clusters: list[_Cluster], k: int) -> int | None:
    """The nearer of two larger clusters, one of them flat, that ``k`` lies between, if any."""
    larger = [i for i, cluster in enumerate(clusters) if cluster.share > clusters[k].share]
    for i, j in itertools.combinations(larger, 2):
        if max(clusters[i].flatness, clusters[j].flatness) < _MOSTLY:
            continue
        line = clusters[j].srgb - clusters[i].srgb
        offset = clusters[k].srgb - clusters[i].srgb
        along = float(offset @ line / (line @ line))
        if 0 < along < 1 and np.linalg.norm(offset - along * line) <= BLEND_REACH:
            return i if along < 0.5 else j
    return None


def _speck(clusters: list[_Cluster]) -> tuple[int, int] | None:
    """The smallest of the specks joins the nearest cluster that is none."""
    specks = [k for k, cluster in enumerate(clusters) if _is_speck(cluster)]
    if not specks or len(specks) == len(clusters):
        return None
    smallest = min(specks, key=lambda k: clusters[k].share)
    distances = _distances(clusters)[smallest]
    distances[specks] = np.inf
    return smallest, int(np.argmin(distances))


def _is_speck(cluster: _Cluster) -> bool:
    is_accent = cluster.share >= ACCENT_SHARE and cluster.flatness >= _MOSTLY
    return cluster.share < SPECK_SHARE and not is_accent
