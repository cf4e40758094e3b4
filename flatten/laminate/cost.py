"""What the part costs and how long it takes, from the prices and rates a person entered."""

from __future__ import annotations

import math
from collections.abc import Collection
from dataclasses import dataclass

from ..errors import InputError
from .bounds import check_not_negative
from .quantities import Quantities
from .rounding import add_up
from .settings import LaminateSettings, Rates

CENT = 0.01


@dataclass(frozen=True, slots=True, kw_only=True)
class CostLine:
    """One line of the estimate, `cost` in the rates' currency, rounded to a hundredth."""

    name: str
    amount: float
    unit: str
    cost: float


@dataclass(frozen=True, slots=True, kw_only=True)
class TimeLine:
    """One step of the work, in minutes of one person, rounded to a whole one."""

    name: str
    minutes: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Estimate:
    """Lines that add up to the totals exactly. An estimate: curing time is not in it."""

    currency: str
    costs: tuple[CostLine, ...]
    cost: float
    times: tuple[TimeLine, ...]
    minutes: float


def estimate(
    part: Quantities,
    settings: LaminateSettings,
    *,
    cloth_cost: float | None = None,
    in_cloth_cost: Collection[str] = (),
) -> Estimate:
    """Return cost and time of one part.

    `cloth_cost` is what the nest takes off the rolls, waste included; None: the cut area at the
    cloth's price per square metre. `in_cloth_cost`: fields of `Consumables` that are in it, as
    covers cut from a roll with a price; they cost nothing more.

    Raises
    ------
    InputError : a negative cost, or no price for a cloth where one is needed
    """
    rates = settings.rates
    work = _work(part, settings)
    minutes, total_min = add_up([line.minutes for line in work], 1.0)
    times = tuple(
        TimeLine(name=line.name, minutes=shown) for line, shown in zip(work, minutes, strict=True)
    )
    lines = [
        *_material(part, rates, cloth_cost, in_cloth_cost),
        CostLine(
            name="Labour",
            amount=total_min / 60,
            unit="h",
            cost=total_min / 60 * rates.labour_per_hour,
        ),
    ]
    shown, total = add_up([line.cost for line in lines], CENT)
    costs = tuple(
        CostLine(name=line.name, amount=line.amount, unit=line.unit, cost=cost)
        for line, cost in zip(lines, shown, strict=True)
    )
    return Estimate(
        currency=rates.currency, costs=costs, cost=total, times=times, minutes=total_min
    )


def _material(
    part: Quantities, rates: Rates, cloth_cost: float | None, in_cloth_cost: Collection[str]
) -> list[CostLine]:
    used = part.consumables
    cloth = _cloth_cost(part, rates) if cloth_cost is None else cloth_cost
    check_not_negative("Estimate", "cloth_cost", cloth)
    coats_kg = math.fsum(coat.to_weigh_g for coat in part.coats) / 1e3
    beside = {
        "peel_ply_m2": ("Peel ply", "m2", rates.peel_ply_per_m2),
        "film_m2": ("Release film", "m2", rates.film_per_m2),
        "breather_m2": ("Breather", "m2", rates.breather_per_m2),
        "flow_mesh_m2": ("Flow mesh", "m2", rates.flow_mesh_per_m2),
        "bag_m2": ("Bag film", "m2", rates.bag_per_m2),
        "tape_m": ("Sealant tape", "m", rates.tape_per_m),
    }
    priced = [
        ("Resin, mixed", part.resin_to_weigh_g / 1e3, "kg", rates.resin_per_kg),
        ("Coats, mixed", coats_kg, "kg", rates.coat_per_kg),
        *(
            (name, getattr(used, field), unit, price)
            for field, (name, unit, price) in beside.items()
            if field not in in_cloth_cost
        ),
        ("Release agent", used.release_g / 1e3, "kg", rates.release_per_kg),
    ]
    lines = [CostLine(name="Cloth", amount=part.cut_area_m2, unit="m2", cost=cloth)]
    lines += [
        CostLine(name=name, amount=amount, unit=unit, cost=amount * price)
        for name, amount, unit, price in priced
        if amount > 0
    ]
    return lines


def _cloth_cost(part: Quantities, rates: Rates) -> float:
    price = {cloth.fabric: cloth.per_m2 for cloth in rates.cloth}
    if not price:
        return 0.0
    missing = sorted({ply.fabric for ply in part.plies} - set(price))
    if missing:
        raise InputError(
            f"Rates: cloth '{missing[0]}' has no price.",
            "Enter its price per square metre, 0 if it is free.",
        )
    return math.fsum(ply.cut_area_m2 * price[ply.fabric] for ply in part.plies)


def _work(part: Quantities, settings: LaminateSettings) -> list[TimeLine]:
    rates, used = settings.rates, part.consumables
    pieces = sum(ply.pieces * ply.count for ply in part.plies)
    pots = len(part.batches) + sum(len(coat.batches) for coat in part.coats)
    mixed_g = part.resin_to_weigh_g + math.fsum(coat.to_weigh_g for coat in part.coats)
    edge_m = used.tape_m / settings.consumed.tape_factor if settings.consumed.tape_factor else 0.0
    release = part.part_area_m2 * rates.release_min_per_m2 * used.release_coats
    return [
        TimeLine(name="Release agent", minutes=release),
        TimeLine(name="Cutting", minutes=part.cut_line_m / rates.cut_m_per_min),
        TimeLine(name="Mixing", minutes=pots * rates.mix_min_per_batch),
        TimeLine(
            name="Laying",
            minutes=part.area_m2 * rates.lay_min_per_m2 + pieces * rates.lay_min_per_piece,
        ),
        TimeLine(name="Wetting out and coats", minutes=mixed_g / settings.spread_g_per_min),
        TimeLine(name="Bagging", minutes=edge_m * rates.bag_min_per_m),
    ]
