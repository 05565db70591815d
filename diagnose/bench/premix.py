"""Premix: how much oil, and what is in the can. Petrol and oil are added by volume; nothing is lost on mixing."""

from __future__ import annotations

from dataclasses import dataclass

from ..case.readings import convert
from .calculator import Calculator, Given, Input, NotPossible, Page, Row, numbers_of

SHORT, PLENTY = 0.9, 1.25
"""Oil against what is asked for: below nine tenths it is short, above five quarters it is too much (judgement; a tenth is
what a measuring beaker is worth)."""

INPUTS = (
    Input("ratio", "Petrol to one part of oil, as the engine maker asks, such as 32:1", "", 5, 200, needed=True),
    Input("petrol", "Petrol without oil, to be mixed or already in the can", "litre", 0.01, 1_000),
    Input("oil", "Oil that already went in", "millilitre", 0, 50_000),
    Input("can", "Ready mix that was in the can", "litre", 0.01, 1_000),
    Input("can-ratio", "Petrol to one part of oil in that mix", "", 5, 1_000, only_with="can"),
    Input("top-up", "Ready mix of another ratio that was poured onto it", "litre", 0.01, 1_000),
    Input("top-up-ratio", "Petrol to one part of oil in that other mix", "", 5, 1_000, only_with="top-up"),
)


@dataclass(frozen=True, slots=True)
class Can:
    """What is in a can, in millilitres."""

    petrol: float
    oil: float

    @classmethod
    def of_mix(cls, volume: float, ratio: float) -> Can:
        """Return so much ready mix of `ratio` parts of petrol to one of oil."""
        return cls(volume * ratio / (ratio + 1), volume / (ratio + 1))

    def with_(self, other: Can) -> Can:
        return Can(self.petrol + other.petrol, self.oil + other.oil)

    @property
    def volume(self) -> float:
        return self.petrol + self.oil


def oil_for(petrol: float, ratio: float) -> float:
    """Return the oil for this much petrol, in the same unit."""
    return petrol / ratio


def work(given: Given) -> Page:
    """Return the oil to add, or what is in the can and what brings it to the ratio that is asked."""
    numbers = numbers_of(given)
    ratio = numbers["ratio"]
    can = _in_the_can(numbers)
    wanted = oil_for(can.petrol, ratio)
    rows, says, findings = [], [], {}
    short = False
    if can.oil:
        rows += _can_rows(can)
        finding, meaning = _judged(can, wanted)
        findings["oil-ratio"] = finding
        says += meaning
        short = finding == "less"
    each = oil_for(1000.0, ratio)
    american = convert(each, "millilitre / litre", "fluid_ounce / gallon")
    rows.append(
        Row("oil-per-litre", f"Oil to a litre of petrol at {ratio:g}:1", each, "millilitre/litre",
            f"{each:.1f} ml ({american:.2f} US fl oz to a US gal)")
    )  # fmt: skip
    missing = wanted - can.oil
    if missing >= 0:
        rows.append(_volume("oil-to-add", f"Oil to add for {ratio:g}:1", missing))
        rows.append(_volume("mix", "Mix there is then", can.volume + missing))
    else:
        rows.append(_volume("petrol-to-add", f"Petrol to add for {ratio:g}:1", can.oil * ratio - can.petrol))
    rows.append(_percent("oil-share-asked", f"Oil in a mix of {ratio:g}:1", 100 / (ratio + 1)))
    says.append("Shake it well, and write ratio, date and oil on the can.")
    return Page(
        title=f"Premix, {ratio:g} parts of petrol to one of oil",
        rows=tuple(rows),
        says=tuple(says),
        sources=(
            "By volume: oil is petrol divided by the ratio.",
            "US gallon and fluid ounce: NIST Special Publication 811 (2008), appendix B.8 (through pint).",
        ),
        cautions=("lean-run",) if short else (),
        findings=findings,
    )


def _in_the_can(numbers: dict[str, float]) -> Can:
    can = Can(numbers.get("petrol", 0.0) * 1000, numbers.get("oil", 0.0))
    for name in ("can", "top-up"):
        if (name in numbers) != (f"{name}-ratio" in numbers):
            raise NotPossible(f"give {name} and {name}-ratio together, or neither")
        if name in numbers:
            can = can.with_(Can.of_mix(numbers[name] * 1000, numbers[f"{name}-ratio"]))
    if not can.petrol:
        raise NotPossible("give the petrol to be mixed, or the mix in the can with its ratio")
    return can


def _judged(can: Can, wanted: float) -> tuple[str, list[str]]:
    """The answer of the rules about the oil, and what it means."""
    if can.oil < SHORT * wanted:
        return "less", ["SHORT OF OIL for this engine. Do not run it on that. Add the oil first, or throw the mix away."]
    if can.oil > PLENTY * wanted:
        return "more", [
            "More oil than the maker asks: smoke, a wet plug, carbon. It takes room from the petrol, so it is leaner too."
        ]
    return "right", ["The oil is right for this engine."]


def _can_rows(can: Can) -> list[Row]:
    return [
        _volume("petrol-now", "Petrol in the can", can.petrol),
        _volume("oil-now", "Oil in the can", can.oil),
        Row("ratio-now", "Ratio in the can", can.petrol / can.oil, "", f"{can.petrol / can.oil:.1f}:1"),
        _percent("oil-share-now", "Oil in the mix", 100 * can.oil / can.volume),
    ]


def _percent(name: str, label: str, share: float) -> Row:
    return Row(name, label, share, "percent", f"{share:.2f} %")


def _volume(name: str, label: str, millilitres: float) -> Row:
    """A volume in millilitres or litres, and as it is measured in America."""
    metric = f"{millilitres:.0f} ml" if millilitres < 1000 else f"{millilitres / 1000:.2f} l"
    gallons = convert(millilitres, "millilitre", "gallon")
    american = f"{gallons:.2f} US gal" if gallons >= 0.5 else f"{gallons * 128:.1f} US fl oz"
    return Row(name, label, millilitres, "millilitre", f"{metric} ({american})")


CALCULATOR = Calculator(
    name="premix",
    title="Oil for a quantity of fuel, and what is in the can after topping up",
    inputs=INPUTS,
    work=work,
    cautions=("petrol-fire", "fuel-on-skin"),
)
