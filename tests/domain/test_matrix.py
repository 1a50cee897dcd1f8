"""The table of methods and blanks: what is judged, how marks are given, and widths that fit."""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from service.domain import matrix as matrix_module
from service.domain.artwork import ArtworkMeasures
from service.domain.blanks import Blank, Obstacle, Placement, PlacementArea
from service.domain.matrix import (
    SAMPLES,
    WIDEST_MM,
    Cell,
    ClothGroup,
    Mark,
    Matrix,
    cloth_group,
    matrix_of,
    standard_width_mm,
    usual_placement,
)
from service.domain.rules import Severity
from service.domain.shop import Policy
from service.domain.wishes import Line
from tests.domain.garments_and_lines import artwork, demo_shop


@pytest.fixture(scope="module")
def several() -> Matrix:
    """The demo shop, judged with several colours."""
    return matrix_of(demo_shop(), SAMPLES["several-colours"])


@pytest.fixture(scope="module")
def single() -> Matrix:
    """The demo shop, judged with one colour."""
    return matrix_of(demo_shop(), SAMPLES["one-colour"])


def cell(matrix: Matrix, blank_id: str, group: str, method_id: str) -> Cell:
    """One cell of the table."""
    column = [method.id for method in matrix.methods].index(method_id)
    (row,) = (row for row in matrix.rows if (row.blank_id, row.group) == (blank_id, group))
    return row.cells[column]


def test_every_colour_of_every_blank_stands_in_one_row(several: Matrix) -> None:
    """Rows follow the catalogue, light cloth first, and each has a cell for each method."""
    blanks = demo_shop().catalogue.blanks
    assert list(dict.fromkeys(row.blank_id for row in several.rows)) == [b.id for b in blanks]
    for blank in blanks:
        rows = [row for row in several.rows if row.blank_id == blank.id]
        assert sorted(name for row in rows for name in row.colours) == sorted(
            colour.name for colour in blank.colours
        )
        groups = [list(ClothGroup).index(row.group) for row in rows]
        assert groups == sorted(set(groups))
    assert {len(row.cells) for row in several.rows} == {len(several.methods)}
    assert several.methods == demo_shop().catalogue.methods


def test_the_known_answers_of_the_trade(several: Matrix, single: Matrix) -> None:
    """Dye on cotton and on dark cloth is refused, on white polyester it works.

    J. Soc. Dyers Colour. 1977, doi 10.1111/j.1478-4408.1977.tb03343.x: cellulose does not hold
    dye vapour. Dye is transparent, and a film that is only cut has one colour: common practice, no
    source.
    """
    for matrix in (several, single):
        refused = cell(matrix, "classic-cotton-tee", "light", "dye-transfer")
        assert refused.best is refused.worst is Mark.REFUSED
        assert "polyester" in refused.reason
        dark = cell(matrix, "sport-polyester-tee", "dark", "dye-transfer")
        assert dark.best is Mark.REFUSED
    assert cell(several, "sport-polyester-tee", "light", "dye-transfer").best is Mark.WORKS
    assert cell(several, "classic-cotton-tee", "dark", "cut-film").best is Mark.REFUSED
    assert cell(single, "classic-cotton-tee", "dark", "cut-film").best is not Mark.REFUSED


def test_a_reason_goes_with_every_mark_but_works(several: Matrix) -> None:
    """Staff see why; where all works there is nothing to say."""
    cells = [one for row in several.rows for one in row.cells]
    assert all(bool(one.reason) is (one.worst is not Mark.WORKS) for one in cells)
    assert {one.worst for one in cells} == set(Mark)


def _judged_by_colour(marks: dict[str, Mark]) -> Any:
    """Stands for the verdict: each colour of cloth gets the mark named, the others work."""

    def judge(_: object, line: Line, *__: object) -> Any:
        mark = marks.get(line.garment.colour_name, Mark.WORKS)
        reading = SimpleNamespace(reason=f"reason for {mark.name}")
        grave = () if mark is Mark.WORKS else (SimpleNamespace(reading=reading),)
        seen: dict[Severity, Any] = {Severity.WARNS: grave}
        return SimpleNamespace(works=mark is not Mark.REFUSED, at_least=seen.__getitem__)

    return judge


@pytest.mark.parametrize(
    ("marks", "expected"),
    [
        ({}, Cell(Mark.WORKS, Mark.WORKS, "Black", "")),
        (
            {"Navy": Mark.WARNS},
            Cell(Mark.WORKS, Mark.WARNS, "Navy", "reason for WARNS"),
        ),
        (
            {"Black": Mark.WARNS, "Red": Mark.REFUSED, "Navy": Mark.WARNS},
            Cell(Mark.WARNS, Mark.REFUSED, "Red", "reason for REFUSED"),
        ),
        (
            {"Black": Mark.REFUSED, "Navy": Mark.REFUSED, "Red": Mark.REFUSED},
            Cell(Mark.REFUSED, Mark.REFUSED, "Black", "reason for REFUSED"),
        ),
    ],
)
def test_a_cell_holds_best_and_worst_of_its_colours(
    monkeypatch: pytest.MonkeyPatch, marks: dict[str, Mark], expected: Cell
) -> None:
    """The worst colour of the group gives the reason; the best is told beside it."""
    monkeypatch.setattr(matrix_module, "judge", _judged_by_colour(marks))
    matrix = matrix_of(demo_shop(), SAMPLES["one-colour"])
    assert cell(matrix, "classic-cotton-tee", "dark", "cut-film") == expected


def test_every_size_that_can_be_had_is_judged(monkeypatch: pytest.MonkeyPatch) -> None:
    """A size that nobody can supply is left out; where none can be had, all are asked for."""
    compiled = demo_shop()
    seen: dict[tuple[str | None, str | None], set[str]] = {}

    def judge(_: object, line: Line, *__: object) -> Any:
        garment = line.garment
        seen[garment.blank_id, garment.colour_id] = set(line.pieces_by_size)
        return SimpleNamespace(works=True, at_least=lambda _: ())

    monkeypatch.setattr(matrix_module, "judge", judge)
    matrix_of(compiled, SAMPLES["one-colour"])
    for blank in compiled.catalogue.blanks:
        sizes = {size.size for size in blank.sizes}
        for colour in blank.colours:
            obtainable = sizes - set(colour.unobtainable_sizes)
            assert seen[blank.id, colour.id] == (obtainable or sizes)


LIGHTNESS = st.floats(0, 100)


@given(lower=LIGHTNESS, upper=LIGHTNESS)
def test_lighter_cloth_is_never_in_a_darker_group(lower: float, upper: float) -> None:
    """Groups follow lightness, and begin exactly at the policy's bounds."""
    policy, order = Policy(), list(ClothGroup)
    dark, light = sorted((lower, upper))
    assert order.index(cloth_group(light, policy)) <= order.index(cloth_group(dark, policy))
    assert cloth_group(policy.light_lightness, policy) is ClothGroup.LIGHT
    assert cloth_group(policy.medium_lightness, policy) is ClothGroup.MEDIUM
    assert cloth_group(policy.medium_lightness - 1e-9, policy) is ClothGroup.DARK


def _with_areas(blank: Blank, areas: list[tuple[float, float]], crosses: Obstacle | None) -> Blank:
    """The blank with one placement of those areas, as many sizes as it takes."""
    sizes = blank.sizes[: len(areas)]
    placement = blank.placements[0].model_copy(
        update={
            "crosses": (crosses,) if crosses else (),
            "areas": {
                size.size: PlacementArea(width_mm=width, height_mm=height)
                for size, (width, height) in zip(sizes, areas, strict=True)
            },
        }
    )
    return blank.model_copy(update={"sizes": sizes, "placements": (placement,)})


MM = st.floats(20, 500)


@given(
    areas=st.lists(st.tuples(MM, MM), min_size=1, max_size=4),
    aspect=st.floats(0.1, 5),
)
def test_the_width_is_the_widest_that_fits(areas: list[tuple[float, float]], aspect: float) -> None:
    """Never above 200 mm nor outside any area or the share of the chest, and one of them binds."""
    policy = Policy()
    blank = _with_areas(demo_shop().catalogue.blanks[0], areas, None)
    picture = artwork(aspect=aspect)
    width = standard_width_mm(blank, picture, policy)
    height = picture.height_mm_at(width)
    chest = min(size.half_chest_mm for size in blank.sizes) * policy.print_share_of_half_chest
    rooms = [WIDEST_MM - width, chest - width]
    rooms += [room - width for room, _ in areas] + [room - height for _, room in areas]
    assert min(rooms) == pytest.approx(0, abs=1e-6)


def test_a_placement_across_a_zip_is_not_the_usual_one() -> None:
    """The first that lies flat is; where none does, the first of all."""
    blank = demo_shop().catalogue.blanks[0]
    across, flat = (_placement(blank, crosses) for crosses in ((Obstacle.ZIP,), ()))
    assert usual_placement(blank.model_copy(update={"placements": (across, flat)})) is flat
    assert usual_placement(blank.model_copy(update={"placements": (across, across)})) is across


def _placement(blank: Blank, crosses: tuple[Obstacle, ...]) -> Placement:
    return blank.placements[0].model_copy(update={"crosses": crosses})


@pytest.mark.parametrize("name", SAMPLES)
def test_samples_can_be_cut_and_printed(name: str) -> None:
    """Whole measures, sharp at 200 mm, and no part is too fine for a film of the demo shop.

    300 pixels per inch is full resolution: common practice, no source.
    """
    for picture in (SAMPLES[name].usual, SAMPLES[name].on_dark):
        assert ArtworkMeasures.model_validate(picture.model_dump()) == picture
        assert sum(colour.share for colour in picture.palette) == pytest.approx(1)
        assert picture.resolution_ppi_at(WIDEST_MM) > 300
        assert picture.shapes is not None
        finest = max(medium.smallest_feature_mm for medium in demo_shop().catalogue.media)
        assert picture.shapes.smallest_feature * 100 > finest
        assert picture.shapes.smallest_gap * 100 > finest
