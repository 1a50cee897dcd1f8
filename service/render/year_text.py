"""The report on a simulated year as plain text, for a terminal."""

from __future__ import annotations

from collections.abc import Iterator

from service.domain.year_orders import Year, YearSetting
from service.domain.year_report import CONFIDENCE, ConstantLead, LoadThird, YearReport, kept_band

_PERCENT = 100
_THIRDS = ("low", "middle", "high")
_POINTS = 0.03


def year_text(
    year: Year, seed: int, told: YearReport, plain: YearReport, constant: ConstantLead
) -> str:
    """The report on the year as ``told``, beside the plan alone and a constant lead time."""
    setting, shop = year.setting, year.catalogue.shop
    invented = " (an invented shop)" if shop.invented else ""
    played = f"{setting.days} simulated days from {setting.first_day}, seed {seed}"
    tickets = sum(len(one.tickets) for one in year.orders)
    rush = f"{told.rush} of the orders with rush, {told.rush_kept} of these kept"
    shorter = f"{constant.shorter_by(told):.0%} shorter than the constant lead time"
    lines = (
        f"{shop.name}{invented}: {played}",
        f"{told.orders} orders, {tickets} tickets; {rush}",
        *_invented(setting),
        "",
        *_kept(told, year.catalogue.policy.promise_percent / _PERCENT),
        "",
        *_compared(told, plain, constant),
        "",
        f"Promises are {shorter} that keeps the same share.",
    )
    return "\n".join(lines)


def _invented(setting: YearSetting) -> Iterator[str]:
    """What the year takes for granted."""
    yield (
        f"invented: busiest station loaded {setting.load:.0%} on the mean, demand swings by "
        f"{setting.swing:.0%} and by weeks;"
    )
    yield (
        f"{setting.bought_in_share:.0%} of the orders need something bought in, "
        f"{setting.rush_share:.0%} ask for rush; of all pieces {setting.spoiled_share:.0%} "
        "are spoiled;"
    )
    yield (
        f"a machine is down for {setting.down_h:g} h after every {setting.down_after_h:g} h of "
        "work, both on the mean"
    )


def _kept(told: YearReport, target: float) -> Iterator[str]:
    yield f"{'promises kept':<24}{'orders':>8}{'kept':>8}   wanted"
    low, high = (count / max(1, told.orders) for count in kept_band(told.orders, target))
    yield (
        f"{'all':<24}{told.orders:>8}{_share(told):>8}   {target:.0%}, by chance alone "
        f"{low:.1%} to {high:.1%} ({CONFIDENCE:.0%})"
    )
    for name, third in zip(_THIRDS, told.thirds, strict=False):
        words = f"{name} load, {third.least_load:.2f}-{third.greatest_load:.2f}"
        yield (
            f"{words:<24}{third.orders:>8}{_share(third):>8}   "
            f"{target - _POINTS:.0%} to {target + _POINTS:.0%}"
        )


def _compared(told: YearReport, plain: YearReport, constant: ConstantLead) -> Iterator[str]:
    heads = ("kept", "promise", "calendar", "late", "95% late", "loss")
    yield f"{'in working days':<24}" + "".join(f"{head:>10}" for head in heads)
    for name, one in (("as promised", told), ("plan without safety", plain)):
        days = (one.promise_days, one.calendar_days, one.late_days, one.late_95_days)
        yield (
            f"{name:<24}{_share(one):>10}"
            + "".join(f"{each:>10.2f}" for each in days)
            + f"{one.pinball_days:>10.3f}"
        )
    yield (
        f"{'constant, as many kept':<24}{_share(told):>10}{constant.days:>10.2f}"
        f"{constant.calendar_days:>10.2f}{constant.late_days:>10.2f}{'':>10}"
        f"{constant.pinball_days:>10.3f}"
    )
    yield (
        "promise: mean length, the first day that could be had counts 1; calendar: days of all "
        "kinds from the order on;"
    )
    yield (
        "late: mean; loss: pinball loss at the target. Each rule was played through the same year "
        "from its beginning."
    )


def _share(one: YearReport | LoadThird) -> str:
    return f"{one.share:.1%}" if one.orders else "none"
