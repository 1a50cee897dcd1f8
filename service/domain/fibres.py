"""Generic fibres, what heat does to them, and the fibre content of a cloth.

Names follow Annex I of Regulation (EU) No 1007/2011 and ISO 2076; names used only in the United
States (16 CFR 303.7) are understood by :func:`fibre_named`. Densities of cotton, wool, silk,
polyester, polyamide, acrylic, viscose and polylactide agree within 0.02 g/cm3 with National
Academies, *Carbon Management* (2001), Table 11.1; the others, and all press ceilings, are
``from memory`` and common practice, no source. A data sheet of the cloth in hand comes first.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal
from enum import StrEnum
from functools import cached_property
from types import MappingProxyType
from typing import Annotated, Self

from pydantic import Field, model_validator

from service.domain.values import Frozen, Percent


class Fibre(StrEnum):
    """A generic fibre, valued by the name this service writes."""

    COTTON = "cotton"
    LINEN = "linen"
    HEMP = "hemp"
    RAMIE = "ramie"
    JUTE = "jute"
    VISCOSE = "viscose"
    MODAL = "modal"
    LYOCELL = "lyocell"
    CUPRO = "cupro"
    WOOL = "wool"
    SILK = "silk"
    POLYESTER = "polyester"
    POLYAMIDE = "polyamide"
    ACRYLIC = "acrylic"
    MODACRYLIC = "modacrylic"
    ELASTANE = "elastane"
    ELASTOMULTIESTER = "elastomultiester"
    ACETATE = "acetate"
    TRIACETATE = "triacetate"
    POLYPROPYLENE = "polypropylene"
    POLYETHYLENE = "polyethylene"
    POLYLACTIDE = "polylactide"
    CHLOROFIBRE = "chlorofibre"
    OTHER = "other fibres"


@dataclass(frozen=True, slots=True)
class FibreFacts:
    """Density in g/cm3; highest platen temperature for strokes up to 60 s, in C; takes dye or not.

    ``melts_c`` is the lower end of the melting range, None where the fibre chars instead.
    """

    density_g_cm3: float
    press_ceiling_c: float
    melts_c: float | None = None
    fixes_dye: bool = False


_FACTS: dict[Fibre, FibreFacts] = {
    Fibre.COTTON: FibreFacts(1.53, 205),
    Fibre.LINEN: FibreFacts(1.49, 205),
    Fibre.HEMP: FibreFacts(1.49, 205),
    Fibre.RAMIE: FibreFacts(1.51, 205),
    Fibre.JUTE: FibreFacts(1.46, 180),
    Fibre.VISCOSE: FibreFacts(1.52, 180),
    Fibre.MODAL: FibreFacts(1.52, 180),
    Fibre.LYOCELL: FibreFacts(1.52, 180),
    Fibre.CUPRO: FibreFacts(1.52, 180),
    Fibre.WOOL: FibreFacts(1.31, 150),
    Fibre.SILK: FibreFacts(1.34, 150),
    Fibre.POLYESTER: FibreFacts(1.38, 205, melts_c=250, fixes_dye=True),
    Fibre.POLYAMIDE: FibreFacts(1.14, 150, melts_c=215),
    Fibre.ACRYLIC: FibreFacts(1.17, 135),
    Fibre.MODACRYLIC: FibreFacts(1.35, 110, melts_c=160),
    Fibre.ELASTANE: FibreFacts(1.10, 160, melts_c=230),
    Fibre.ELASTOMULTIESTER: FibreFacts(1.35, 160, melts_c=220),
    Fibre.ACETATE: FibreFacts(1.31, 140, melts_c=230),
    Fibre.TRIACETATE: FibreFacts(1.30, 180, melts_c=290),
    Fibre.POLYPROPYLENE: FibreFacts(0.905, 110, melts_c=160),
    Fibre.POLYETHYLENE: FibreFacts(0.95, 90, melts_c=110),
    Fibre.POLYLACTIDE: FibreFacts(1.25, 110, melts_c=160),
    Fibre.CHLOROFIBRE: FibreFacts(1.39, 60, melts_c=160),
    Fibre.OTHER: FibreFacts(1.35, 130),
}

FIBRE_FACTS: Mapping[Fibre, FibreFacts] = MappingProxyType(_FACTS)
"""Facts by fibre. ``other fibres`` stands for the unknown and takes a cautious ceiling."""

_EU_NAMES: dict[Fibre, tuple[str, ...]] = {
    **{fibre: (fibre.value,) for fibre in Fibre},
    Fibre.LINEN: ("linen", "flax"),
    Fibre.POLYAMIDE: ("polyamide", "nylon"),
    Fibre.OTHER: ("other fibres", "other fibre"),
}
_US_NAMES: dict[Fibre, tuple[str, ...]] = {
    **_EU_NAMES,
    Fibre.POLYAMIDE: ("nylon",),
    Fibre.ELASTANE: ("spandex",),
    Fibre.VISCOSE: ("rayon",),
    Fibre.MODAL: ("rayon (modal)",),
    Fibre.LYOCELL: ("lyocell", "rayon (lyocell)"),
    Fibre.CUPRO: ("rayon (cupro)",),
    Fibre.POLYPROPYLENE: ("olefin",),
    Fibre.POLYETHYLENE: ("olefin",),
    Fibre.POLYLACTIDE: ("PLA",),
    Fibre.CHLOROFIBRE: ("vinyon",),
    Fibre.OTHER: ("other fiber", "other fibers"),
}

EU_LABEL_NAMES: Mapping[Fibre, tuple[str, ...]] = MappingProxyType(_EU_NAMES)
"""Names a label may use under Annex I of Regulation (EU) No 1007/2011; the usual one first."""

US_LABEL_NAMES: Mapping[Fibre, tuple[str, ...]] = MappingProxyType(_US_NAMES)
"""Names a label may use under 16 CFR 303.7; the usual one first."""


def plain_name(name: str) -> str:
    """A fibre name in lower case with single blanks, so that names compare."""
    return " ".join(name.lower().split())


_FIBRE_BY_NAME: dict[str, Fibre] = {
    plain_name(name): fibre
    for names in (US_LABEL_NAMES, EU_LABEL_NAMES)
    for fibre, written in names.items()
    for name in written
}
# Olefin is polypropylene or polyethylene; cloth is mostly the first (common practice, no source).
_FIBRE_BY_NAME["olefin"] = Fibre.POLYPROPYLENE


def fibre_named(name: str) -> Fibre | None:
    """The fibre a generic name stands for (EU or US name, any case), or None if it is none."""
    return _FIBRE_BY_NAME.get(plain_name(name))


DECIMAL_SLACK_PERCENT = Decimal("0.1")
"""How far decimal percentages may miss 100, as thirds do; a design choice."""


class FibreShare(Frozen):
    """One fibre and its percentage of the cloth's mass."""

    fibre: Fibre
    percent: Percent


class FibreContent(Frozen):
    """What a cloth is made of, by mass.

    Whole percentages sum to exactly 100, decimal ones within 0.1 of it (a design choice).
    """

    shares: Annotated[tuple[FibreShare, ...], Field(min_length=1, max_length=12)]

    @model_validator(mode="before")
    @classmethod
    def _from_list(cls, value: object) -> object:
        return {"shares": value} if isinstance(value, list | tuple) else value

    @model_validator(mode="after")
    def _adds_up(self) -> Self:
        fibres = [share.fibre for share in self.shares]
        twins = sorted({fibre for fibre in fibres if fibres.count(fibre) > 1})
        if twins:
            raise ValueError(f"fibre listed twice: {', '.join(twins)}")
        total = self._total
        whole = all(share.percent == share.percent.to_integral_value() for share in self.shares)
        if total != 100 and (whole or abs(total - 100) > DECIMAL_SLACK_PERCENT):
            raise ValueError(f"fibre percentages sum to {total.normalize():f}, not to 100")
        return self

    @classmethod
    def of(cls, **percents: int | str | Decimal) -> Self:
        """Build from keyword arguments, as in ``FibreContent.of(cotton=50, polyester=50)``."""
        return cls(
            shares=tuple(
                FibreShare(fibre=Fibre(name.replace("_", " ")), percent=Decimal(percent))
                for name, percent in percents.items()
            )
        )

    def mass_share(self, fibre: Fibre) -> float:
        """Share of the mass, 0 to 1; 0 for a fibre that is not in the cloth."""
        return self._mass_shares.get(fibre, 0.0)

    def volume_share(self, fibre: Fibre) -> float:
        """Share of the volume, 0 to 1, which is what light meets: mass share over density."""
        volumes = {f: m / FIBRE_FACTS[f].density_g_cm3 for f, m in self._mass_shares.items()}
        return volumes.get(fibre, 0.0) / sum(volumes.values())

    @cached_property
    def _mass_shares(self) -> dict[Fibre, float]:
        return {share.fibre: float(share.percent / self._total) for share in self.shares}

    @cached_property
    def _total(self) -> Decimal:
        return sum((share.percent for share in self.shares), Decimal(0))

    def words(self) -> str:
        """The content as a label states it: ``65 % polyester, 35 % cotton``."""
        return ", ".join(f"{s.percent.normalize():f} % {s.fibre}" for s in self.shares)
