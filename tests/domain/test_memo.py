"""Remembering results: bounded, shared by threads, and never one garment's for another's."""

from __future__ import annotations

from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace

from hypothesis import given
from hypothesis import strategies as st

from service.domain.fibres import FibreContent
from service.domain.garments import Garment, SuppliedGarment, supplied_garment
from service.domain.memo import Memo
from service.domain.verdict import judge
from service.domain.wishes import Decoration, Line
from tests.domain.brute_force import ARTWORKS, new_small_shop, small_shop


def _counted() -> tuple[list[int], Callable[[int], Callable[[], int]]]:
    """What was worked out so far, and a maker of makers that tell."""
    worked_out: list[int] = []

    def squaring(number: int) -> Callable[[], int]:
        def square() -> int:
            worked_out.append(number)
            return number * number

        return square

    return worked_out, squaring


def test_a_result_is_worked_out_once() -> None:
    """The second question is answered from memory."""
    worked_out, squaring = _counted()
    memo = Memo(10)
    assert [memo.get(7, squaring(7)), memo.get(7, squaring(7))] == [49, 49]
    assert worked_out == [7]


@given(st.integers(1, 8), st.lists(st.integers(0, 20), max_size=60))
def test_it_never_keeps_more_than_its_capacity(capacity: int, asked: list[int]) -> None:
    """However many results are asked for, each is right and the memory is bounded."""
    memo = Memo(capacity)
    _, squaring = _counted()
    for number in asked:
        assert memo.get(number, squaring(number)) == number * number
        assert len(memo._kept) <= capacity


def test_results_that_look_like_nothing_are_remembered() -> None:
    """Zero, an empty tuple and False are results like any other."""
    memo = Memo(10)
    for nothing in (0, (), False, ""):
        made: list[object] = []

        def make(nothing: object = nothing, made: list[object] = made) -> object:
            made.append(nothing)
            return nothing

        key = ("kind", repr(nothing))
        assert memo.get(key, make) == memo.get(key, make) == nothing
        assert len(made) == 1


def test_a_failure_is_not_remembered() -> None:
    """What raised is tried again, and what was remembered stays."""
    memo = Memo(10)
    _, squaring = _counted()
    for _ in range(2):
        try:
            memo.get(0, lambda: 1 // 0)
        except ZeroDivisionError:
            continue
        raise AssertionError("the failure was swallowed")
    assert memo.get(0, squaring(3)) == 9


def test_threads_share_it_and_get_right_results() -> None:
    """Eight threads that fill it over and over each get what they asked for."""
    memo = Memo(50)
    threads = 8

    def ask(start: int) -> bool:
        numbers = [(start * 7 + step) % 200 for step in range(2_000)]
        return all(memo.get(n, lambda n=n: n * n) == n * n for n in numbers)  # type: ignore[misc]

    with ThreadPoolExecutor(threads) as pool:
        assert all(pool.map(ask, range(threads)))
    assert len(memo._kept) <= 50 + threads


def _works(garment: Garment, method_id: str) -> bool:
    decoration = Decoration("front", "art", ARTWORKS["three colours"], 200.0, method_id)
    line = Line(garment, {next(iter(garment.half_chest_mm)): 1}, (decoration,))
    return judge(small_shop(), line, decoration, method_id).works


def test_a_look_alike_of_a_stocked_garment_is_judged_by_its_own_cloth() -> None:
    """A garment that has a stocked one's ids and another fibre shares no result with it."""
    stocked = small_shop().garments["sport-polyester-tee", "white"]
    cotton = FibreContent.of(cotton=100)
    look_alike = replace(stocked, face=cotton, whole=cotton)
    assert look_alike.key == stocked.key
    assert _works(stocked, "dye-transfer")
    assert not _works(look_alike, "dye-transfer")
    assert _works(stocked, "dye-transfer")


def _supplied(**described: object) -> Garment:
    whole = {
        "fibre_content": [{"fibre": "polyester", "percent": 100}],
        "colour_srgb": "#ffffff",
        "weight_g_m2": 180,
        "wearer": "adult",
        "half_chest_mm": 520,
        **described,
    }
    placements = small_shop().catalogue.policy.supplied_placements
    return supplied_garment(SuppliedGarment.model_validate(whole), ("own",), placements)


def test_supplied_garments_share_results_only_if_described_alike() -> None:
    """Fibre, colour, finish, weight, wearer and measure each make another garment."""
    plain = _supplied()
    others = [
        _supplied(fibre_content=[{"fibre": "cotton", "percent": 100}]),
        _supplied(colour_srgb="#101010"),
        _supplied(finish="water_repellent"),
        _supplied(weight_g_m2=181),
        _supplied(wearer="youth"),
        _supplied(half_chest_mm=300),
        _supplied(sleepwear=True),
    ]
    assert len({garment.key for garment in (plain, *others)}) == len(others) + 1
    assert _works(plain, "dye-transfer")
    assert [_works(garment, "dye-transfer") for garment in others[:2]] == [False, False]
    assert _works(_supplied(), "dye-transfer")


def test_every_catalogue_version_remembers_for_itself() -> None:
    """Two shops that share ids but not policy give different verdicts."""
    stock = new_small_shop()
    policy = stock.catalogue.policy.model_copy(update={"print_share_of_half_chest": 0.3})
    strict = new_small_shop(policy=policy)
    verdicts = []
    for shop in (stock, strict, stock):
        garment = shop.garments["sport-polyester-tee", "white"]
        decoration = Decoration("front", "art", ARTWORKS["three colours"], 250.0, "dye-transfer")
        line = Line(garment, {"S": 1}, (decoration,))
        verdicts.append(judge(shop, line, decoration, "dye-transfer").works)
    assert verdicts == [True, False, True]


def test_a_result_worked_out_elsewhere_is_remembered_within_the_bound() -> None:
    """What is put in is given back instead of being worked out, and counts towards the bound."""
    worked_out, squaring = _counted()
    memo = Memo(3)
    for number in range(10):
        memo.put(number, number * number)
        assert memo.get(number, squaring(number)) == number * number
        assert len(memo._kept) <= 3
    assert worked_out == []
