"""Published worked examples, each answered through lossmap's own functions (`shared/worked/agronomy.json`).

A check says what goes in, what its source prints, and how far its rounding reaches. Every
answer below is a call into the library, with `units.factor` at its two ends; nothing is
worked out here that the library could work out.
"""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from scipy.optimize import brentq

from lossmap.base.farm import Money
from lossmap.base.reference import Equilibrium, crop, crops, equilibria
from lossmap.base.units import factor, quantity
from lossmap.drydown.moisture import Air, equilibrium_pct, step, wet_basis_pct
from lossmap.drydown.money import worth
from lossmap.drydown.waiting import Lost
from lossmap.loss import arithmetic
from outside import agrees

CHECKS: list[dict[str, Any]] = json.loads(
    (Path(__file__).resolve().parents[1] / "shared" / "worked" / "agronomy.json").read_text(encoding="utf-8")
)
BY_ID = {check["id"]: check for check in CHECKS}

FT2 = factor("ft2", "m2")
IN = factor("in", "m")
FT = factor("ft", "m")
ACRE = factor("ac", "m2")
POUND_G = factor("lb", "g")
MPH = factor("mph", "m/s")

Inputs = dict[str, Any]


def _kg_ha(bu_ac: float, bushel_lb: float) -> float:
    return bu_ac * factor("bu/ac", "kg/ha", bushel_lb)


def _bu_ac(kg_ha: float, bushel_lb: float) -> float:
    return kg_ha * factor("kg/ha", "bu/ac", bushel_lb)


def _mass_of_rule(seeds_ft2: float, bushel_lb: float) -> float:
    """Thousand-seed mass [g] behind "so many on a square foot are a bushel an acre"."""
    return arithmetic.thousand_seed_mass_of_rule_g(seeds_ft2, FT2, _kg_ha(1, bushel_lb))


def _mass_of_count(seeds: float, pounds: float) -> float:
    return arithmetic.thousand_seed_mass_g(seeds, pounds * POUND_G)


def _seeds_ft2(kg_ha: float, seed_mass_g: float) -> float:
    return arithmetic.seeds_m2_of_loss(kg_ha, seed_mass_g) * factor("seed/m2", "seed/ft2")


def _by_rule(seeds_ft2: float, rule_ft2: float, bushel_lb: float) -> float:
    """Loss [bu/ac] of a count, by a rule."""
    return _bu_ac(arithmetic.seed_loss_kg_ha(seeds_ft2, FT2, _mass_of_rule(rule_ft2, bushel_lb)), bushel_lb)


def _row(name: str) -> tuple[float, float]:
    """Legal bushel [lb] and thousand-seed mass [g] of the crop table."""
    row = crop(name)
    assert row.bushel_lb is not None
    return row.bushel_lb, row.seed_mass_g.mean


def _rule_of_table(name: str, area_ft2: float = 1.0) -> float:
    """Seeds on an area that are 1 bu/ac, by the crop table."""
    bushel_lb, seed_mass_g = _row(name)
    return _seeds_ft2(_kg_ha(1, bushel_lb), seed_mass_g) * area_ft2


# --- units ----------------------------------------------------------------------------


def _legal_bushel(x: Inputs) -> float:
    if x["crop"] in crops():  # flax is not
        assert crop(x["crop"]).bushel_lb == x["lb_per_bu"]
    return _kg_ha(x["bu_per_ac"], x["lb_per_bu"])


UNITS: dict[str, Callable[[Inputs], object]] = {
    "U01": lambda x: x["lb_per_ac"] * factor("lb/ac", "kg/ha"),
    **dict.fromkeys([f"U{number:02d}" for number in range(2, 12)], _legal_bushel),
    "U12": lambda x: x["seeds_per_m2"] * factor("seeds/m2", "seeds/ft2"),
    "U13": lambda x: arithmetic.seed_loss_kg_ha(x["seeds_per_m2"], 1.0, x["tkw_g"]),
    "U14": lambda x: arithmetic.seed_loss_kg_ha(x["seeds_per_ft2"], FT2, x["tkw_g"]) * factor("kg/ha", "lb/ac"),
}


# --- seeds on an area -----------------------------------------------------------------


def _seeds_per_lb_of_rule(x: Inputs) -> float:
    return arithmetic.seeds_from_mass(POUND_G, _mass_of_rule(x.get("seeds_per_ft2", x.get("kernels_per_ft2")), x["lb_per_bu"]))


def _rice(x: Inputs) -> float:
    bushel_lb, seed_mass_g = _row("rice")
    assert bushel_lb == x["lb_per_bu"]
    return _bu_ac(arithmetic.seed_loss_kg_ha(x["kernels_per_ft2"], FT2, seed_mass_g), bushel_lb)


def _seeds_ft2_of_lb_ac(x: Inputs) -> float:
    return _seeds_ft2(x["lb_per_ac"] * factor("lb/ac", "kg/ha"), _mass_of_count(x["seeds_per_lb"], 1))


def _seeds_ft2_of_bushel(x: Inputs) -> float:
    return _seeds_ft2(_kg_ha(1, x["lb_per_bu"]), _mass_of_count(x["seeds_per_lb"], 1))


def _sunflower_seeds_per_lb(x: Inputs) -> float:
    mass = arithmetic.thousand_seed_mass_of_rule_g(x["seeds_per_ft2"], FT2, x["lb_per_ac"] * factor("lb/ac", "kg/ha"))
    return arithmetic.seeds_from_mass(POUND_G, mass)


def _standing_wheat_kg_ac(x: Inputs) -> float:
    return arithmetic.seed_loss_kg_ha(x["heads_per_ft2"] * x["seeds_per_head"], FT2, x["tkw_g"]) * factor("kg/ha", "kg/ac")


SEEDS: dict[str, Callable[[Inputs], object]] = {
    "B01": lambda x: _rule_of_table("corn"),
    "B03": lambda x: _seeds_ft2(_kg_ha(1, 56), _mass_of_count(x["kernels_per_bu"], 56)),
    "B05": lambda x: _rule_of_table("soybean"),
    "B07": _seeds_per_lb_of_rule,
    "B08": lambda x: _rule_of_table("soybean", x["frame_ft2"]),
    "B09": lambda x: _rule_of_table("wheat"),
    "B11": lambda x: _mass_of_rule(x["kernels_per_ft2"], x["lb_per_bu"]),
    "B13": _seeds_per_lb_of_rule,
    **dict.fromkeys(["B15", "B17", "B18", "B19"], _rice),
    # a confection seed is the upper end of the table's range
    "B21": lambda x: _seeds_ft2(x["cwt_per_ac"] * factor("cwt/ac", "kg/ha"), crop("sunflower").seed_mass_g.high),
    "B22": _sunflower_seeds_per_lb,
    "B24": _seeds_ft2_of_bushel,
    "B25": lambda x: _rule_of_table("sorghum"),
    **dict.fromkeys(["B26", "B27", "B28"], _seeds_ft2_of_lb_ac),
    "B29": lambda x: arithmetic.seeds_from_mass(POUND_G, _mass_of_count(x["seeds"], x["weight_lb"])),
    "B30": _seeds_ft2_of_bushel,
    "B32": lambda x: _seeds_ft2(_kg_ha(1, x["lb_per_bu"]), x["tkw_g"]),
    "B34": lambda x: _seeds_ft2(x["lb_per_ac"] * factor("lb/ac", "kg/ha"), x["tkw_g"]),
    "B35": _standing_wheat_kg_ac,
    "B36": lambda x: x["kg_per_ac"] * factor("kg/ac", "bu/ac", x["kg_per_bu"] * factor("kg", "lb")),
    "B37": _seeds_per_lb_of_rule,
}


# --- ears, swaths, strips, hoops ------------------------------------------------------


def _swath_ft(x: Inputs) -> float:
    return arithmetic.swath_length_m(x["fraction"] * ACRE, x["rows"], x["row_spacing_in"] * IN) / FT


def _ear_corn(x: Inputs) -> float:
    grain_share = 56 / x["lb_ear_corn_per_bu"]  # a bushel of ear corn holds 56 lb of grain
    grain_g = x["ear_lb"] * grain_share * POUND_G
    return _bu_ac(arithmetic.ears_kg_ha(x["ears_per_1_100_ac"], ACRE / 100, grain_g), 56)


def _ears_on_an_acre_of_row(x: Inputs) -> float:
    return arithmetic.swath_length_m(ACRE, 1, x["row_spacing_in"] * IN) / (x["row_ft_per_ear"] * FT)


def _ear_of_kernels(x: Inputs) -> float:
    grain_g = x["kernel_rows"] * x["kernels_per_row"] * _mass_of_count(x["kernels_per_bu"], 56) / 1000
    return _bu_ac(arithmetic.ears_kg_ha(x["ears_per_ac"], ACRE, grain_g), 56)


def _strip_in(x: Inputs) -> float:
    return arithmetic.strip_depth_m(x["area_ft2"] * FT2, x["header_ft"] * FT) / IN


FRAMES: dict[str, Callable[[Inputs], object]] = {
    **dict.fromkeys([f"C{number:02d}" for number in range(1, 14)], _swath_ft),
    "C14": _ear_corn,
    "C15": _ears_on_an_acre_of_row,
    "C16": lambda x: _kg_ha(1, x["lb_per_bu"]) / arithmetic.ears_kg_ha(x["ears_per_ac"], ACRE, POUND_G),
    "C18": _ear_of_kernels,
    **dict.fromkeys([f"C{number}" for number in (20, 21, 22, 23, 24, 25, 27, 28, 30, 31, 33)], _strip_in),
    "C34": lambda x: arithmetic.hoop_diameter_m(x["area_ft2"] * FT2) / IN,
    "C35": lambda x: arithmetic.hoop_diameter_m(x["area_ft2"] * FT2) / IN,
    "C36": lambda x: arithmetic.hoop_diameter_m(x["area_m2"]),
    "C37": lambda x: arithmetic.seeds_m2_of_loss(_kg_ha(1, 56), _mass_of_count(x["kernels_per_bu"], 56)) * x["frame_m2"],
}


# --- measuring a loss -----------------------------------------------------------------


def _strip_to_ft2(x: Inputs) -> float:
    """Seeds a square foot of a strip: the count for which a square foot gives the strip's loss."""
    seeds, area = x.get("kernels_in_strip", x.get("seeds_in_strip")), x["strip_ft"] * x["header_ft"] * FT2
    return arithmetic.seeds_m2_of_loss(arithmetic.seed_loss_kg_ha(seeds, area, 100.0), 100.0) * factor("seed/m2", "seed/ft2")


def _ears_and_kernels(x: Inputs) -> float:
    grain_g = 1.25 * factor("bu", "lb", 56) / 100 * POUND_G  # the source values one ear in 1/100 acre at 1 to 1.5 bu/ac
    return _bu_ac(arithmetic.ears_kg_ha(x["ears_per_ac"], ACRE, grain_g), 56) + _by_rule(x["kernels_per_ft2"], 2, 56)


def _canola_pan(x: Inputs) -> float:
    seed_mass_g = 3.0  # falls out: what was weighed is weighed again
    seeds = arithmetic.seeds_from_mass(x["g_per_ft2_pan"], seed_mass_g)
    caught = arithmetic.seed_loss_kg_ha(seeds, FT2, seed_mass_g)
    return _bu_ac(arithmetic.machine_loss_kg_ha(caught, 0.0, x["concentration_factor"]), x["lb_per_bu"])


def _windrow(x: Inputs) -> tuple[float, float, float]:
    """Behind, in front [kg/ha] and concentration of the small-grain example."""
    mass = _mass_of_rule(x["kernels_per_ft2_per_bu"], 60)
    behind, front = (arithmetic.seed_loss_kg_ha(x[key], FT2, mass) for key in ("behind_per_ft2", "shatter_plus_header_per_ft2"))
    return behind, front, arithmetic.concentration_ratio(x["header_ft"], x["discharge_ft"])


def _windrow_machine(x: Inputs) -> float:
    return _bu_ac(arithmetic.machine_loss_kg_ha(*_windrow(x)), 60)


def _windrow_total(x: Inputs) -> float:
    behind, front, ratio = _windrow(BY_ID["D21"]["inputs"])
    return _bu_ac(sum(arithmetic.loss_split_kg_ha(0.0, front, behind, ratio)), 60)


def _divided_first(x: Inputs) -> float:
    """The order that must not be used, put together from parts."""
    behind, front, ratio = _windrow(BY_ID["D21"]["inputs"])
    return _bu_ac(arithmetic.machine_loss_kg_ha(behind, 0.0, ratio) - front, 60)


def _sunflower_total(x: Inputs) -> float:
    mass = arithmetic.thousand_seed_mass_of_rule_g(x["seeds_per_ft2_per_cwt"], FT2, factor("cwt/ac", "kg/ha"))
    lies = [arithmetic.seed_loss_kg_ha(x[key], FT2, mass) for key in ("standing_per_ft2", "under_machine_per_ft2", "behind_per_ft2")]
    ratio = arithmetic.concentration_ratio(x["header_ft"], x["discharge_ft"])
    return sum(arithmetic.loss_split_kg_ha(*lies, ratio)) * factor("kg/ha", "cwt/ac")


def _corn_split(x: Inputs) -> dict[str, float]:
    mass = _mass_of_rule(x["kernels_per_ft2_per_bu"], 56)
    pre, front, behind, on_cob = (arithmetic.seed_loss_kg_ha(x[key], FT2, mass) for key in ("pre", "header_zone", "behind", "on_cob"))
    _, header, machine = arithmetic.loss_split_kg_ha(pre, front, behind, 1.0)
    ears = arithmetic.ears_kg_ha(x["ears_per_1_100_ac"], ACRE / 100, x["grain_lb_per_ear"] * POUND_G)
    kg_ha = {"header_kernels": header, "threshing": on_cob, "separation": machine - on_cob, "ears": ears}
    return {part: _bu_ac(loss, 56) for part, loss in (kg_ha | {"machine_total": header + machine + ears}).items()}


def _cut_loss(x: Inputs) -> float:
    grown = _kg_ha(x["yield_bu_per_ac"], 60)
    lost = [arithmetic.loss_of_percent_kg_ha(x[key], grown) for key in ("from_percent", "to_percent")]
    return _bu_ac(lost[0] - lost[1], 60)


def _usd_ac(x: Inputs) -> float:
    """Money by way of kilograms and hectares, as a report works it out."""
    price = x.get("price", x.get("price_per_bu"))
    usd_ha = _kg_ha(x["bu_per_ac"], 60) * quantity(f"{price} USD/bu", "USD/kg", 60)
    return usd_ha * factor("USD/ha", "USD/ac")


def _missing_pod(x: Inputs) -> float:
    mass = _mass_of_rule(x["seeds_per_ft2_per_bu"], 60)
    return _bu_ac(arithmetic.seed_loss_kg_ha(x["plants_per_ac"] * x["seeds_per_pod"], ACRE, mass), 60)


LOSSES: dict[str, Callable[[Inputs], object]] = {
    "D03": lambda x: _by_rule(x["kernels_per_ft2"], x["kernels_per_ft2_per_bu"], 56),
    "D04": lambda x: _by_rule(x["kernels_per_ft2"], x["kernels_per_ft2_per_bu"], 56),
    "D05": _ears_and_kernels,
    "D06": _strip_to_ft2,
    "D07": lambda x: _by_rule(x["kernels_per_ft2"], x["kernels_per_ft2_per_bu"], 32),
    "D09": _strip_to_ft2,
    "D11": lambda x: arithmetic.percent_of_harvested(x["loss_bu_per_ac"], x["harvested_bu_per_ac"]),
    "D13": lambda x: arithmetic.concentration_ratio(x["cut_width_ft"] * FT, x["discharge_width_ft"] * FT),
    "D14": _canola_pan,
    "D15": lambda x: arithmetic.seeds_from_mass(x["g_per_ft2_pan"], x["tkw_g"]),
    "D17": lambda x: _bu_ac(arithmetic.loss_of_percent_kg_ha(x["percent"], _kg_ha(x["yield_bu_per_ac"], 50)), 50),
    "D18": _missing_pod,
    "D21": _windrow_machine,
    "D22": _windrow_total,
    "D24": _sunflower_total,
    "D25": _divided_first,
    "D26": _corn_split,
    "D27": _cut_loss,
    "D28": _usd_ac,
}


# --- moisture and market --------------------------------------------------------------


def _shrink_of_a_point(x: Inputs) -> float:
    return arithmetic.water_shrink_pct(x["final_moisture"] + 1, x["final_moisture"])


def _dried_bushels(x: Inputs) -> float:
    """Bushels left when the dry matter of wet grain stands at the final moisture."""
    dry_of_one = arithmetic.dry_matter_kg(1.0, x["mf"])
    return arithmetic.dry_matter_kg(x["lb"], x["mi"]) / dry_of_one * factor("lb", "bu", x["lb_per_bu"])


def _weight_short_bushels(x: Inputs) -> float:
    return arithmetic.loss_of_percent_kg_ha(arithmetic.weight_short_pct(x["moisture"], 13.0), x["yield_at_13"])


def _plot_constant(x: Inputs) -> float:
    """Yield of a pound of grain of which 1 % is dry, from a plot of 1 ft by 1 in."""
    kg_ha = arithmetic.yield_at_moisture_kg_ha(factor("lb", "kg"), 1.0, FT * IN, 99.0, x["standard_moisture"])
    return _bu_ac(kg_ha, x["lb_per_bu"])


def _elevator_shrink(x: Inputs) -> float:
    return x["bu_per_ac"] - arithmetic.loss_of_percent_kg_ha(x["points"] * x["percent_per_point"], x["bu_per_ac"])


MOISTURE: dict[str, Callable[[Inputs], object]] = {
    **dict.fromkeys(["E01", "E09", "E10", "E11", "E14"], _shrink_of_a_point),
    "E03": lambda x: x["lb"] * factor("lb", "bu", x["lb_per_bu"]),
    "E04": _dried_bushels,
    "E05": lambda x: arithmetic.handled_shrink_pct(x["mi"], x["mf"], x["handling_percent"]),
    "E08": lambda x: arithmetic.water_shrink_pct(x["mi"], x["mf"]),
    **dict.fromkeys(["E15", "E16", "E17"], lambda x: arithmetic.weight_short_pct(x["moisture"], x["standard"])),
    "E18": _weight_short_bushels,
    "E19": _usd_ac,
    "E20": _weight_short_bushels,
    "E29": _elevator_shrink,
    "E35": lambda x: x["lb_per_barrel"] * factor("lb", "bu", x["lb_per_bu"]),
    "E37": _plot_constant,
    "E38": _plot_constant,
    "E39": lambda x: arithmetic.dry_matter_kg(x["lb"], x["moisture"]),
}


# --- drying in the field, and what waiting costs ---------------------------------------


def _celsius(fahrenheit: float) -> float:
    return (fahrenheit - 32) / 1.8


def _form(name: str, form: str) -> Equilibrium:
    """The row of the reference table; constants that a check names must be the row's."""
    grain = "corn" if name == "corn_yellow_dent" else name
    return next(row for row in equilibria(grain) if row.form == form)


def _equilibrium(x: Inputs) -> float:
    of = _form(x["crop"], x.get("form", "modified Henderson").removeprefix("modified ").partition(",")[0].lower().replace("-", "_"))
    for ours, theirs in zip((of.a, of.b, of.c), "KNC" if "K" in x else "ABC", strict=True):
        assert x.get(theirs, ours) == ours
    return float(equilibrium_pct(of, _celsius(x["temp_F"]), x["rh_percent"]))


def _oswin(x: Inputs) -> float:
    return _equilibrium(x | {"form": "oswin"})


def _mean_of_forms(x: Inputs) -> float:
    return sum(_equilibrium(x | {"form": form}) for form in ("henderson", "chung_pfost")) / 2


def _soybean_of_air(x: Inputs) -> float:
    """By the form between the others: the three differ by a point."""
    return _equilibrium(x | {"form": "chung_pfost"})


def _follows_the_air(x: Inputs) -> bool:
    """More humid air, moister grain; warmer air, drier grain."""
    of = equilibria(x["crop"])[0]
    return bool(equilibrium_pct(of, 15, 70) > equilibrium_pct(of, 15, 60) > equilibrium_pct(of, 25, 60))


def _moisture_after(x: Inputs, days: float, k_per_day: float) -> float:
    """Moisture [%] so many days on, in air that stays as it is and with nothing that speeds or slows drying."""
    plain = Air(np.array(x["EMC"]), np.array(k_per_day), 1.0, 0.0, 1.0)
    return float(step(np.array(float(x["M0"])), plain.target_pct, plain.rate * days, plain))


def _days_to(x: Inputs) -> float:
    """The day on which the target is reached."""
    return float(brentq(lambda days: _moisture_after(x, days, x["k_per_day"]) - x["target"], 0, 1000))


def _rate_behind(x: Inputs) -> float:
    """Rate [1/d] that takes so many points off in so many days."""
    return float(brentq(lambda k_per_day: _moisture_after(x, x["days"], k_per_day) - (x["M0"] - x["points"]), 0, 10))


def _money(price_usd_bu: float, drying_usd_bu: float = 0.0) -> Money:
    bushel_kg = factor("bu", "kg", 56)
    return Money(price_usd_bu / bushel_kg, drying_usd_bu / bushel_kg, 0.0, 0.0)


def _lost_corn_usd_ac(x: Inputs) -> float:
    """Money of a loss at the header, grain at market moisture."""
    lost = Lost(0.0, x["loss_percent"] / 100, 0.0)
    parts = worth(_kg_ha(x["yield"], 56), 15.5, lost, _money(x["price"]), 15.5).parts
    return float(parts["header"]) * factor("USD/ha", "USD/ac")


def _drying_charge_usd_ac(x: Inputs) -> float:
    """A charge on wet bushels, so many points above market moisture, the yield being wet ones."""
    moisture = 15.5 + x["points"]
    dry = _kg_ha(x["yield"], 56) * (100 - moisture) / (100 - 15.5)
    parts = worth(dry, moisture, Lost(0.0, 0.0, 0.0), _money(3.0, x["cents_per_point"] / 100), 15.5).parts
    return float(parts["drying"]) * factor("USD/ha", "USD/ac")


WAITING: dict[str, Callable[[Inputs], object]] = {
    **dict.fromkeys([f"F{number:02d}" for number in (1, 2, 3, 5, 7, 8, 10, 13, 15, 16, 17, 18, 19, 20, 21, 22, 23, 24)], _equilibrium),
    "F11": _mean_of_forms,
    "F14": _soybean_of_air,
    "F25": _oswin,
    "F26": lambda x: float(wet_basis_pct(x["dry_basis_percent"])),
    "F27": _follows_the_air,
    "G08": lambda x: _moisture_after(x, x["t_days"], x["k_per_day"]),
    "G10": _days_to,
    "G12": _rate_behind,
    "G13": _rate_behind,
    "E30": _lost_corn_usd_ac,
    "E31": _lost_corn_usd_ac,
    "E32": _drying_charge_usd_ac,
}


# --- speed, throughput, counting ------------------------------------------------------


def _plants_a_second(x: Inputs) -> float:
    """A row is a header one row wide, and plants go in as grain does."""
    return arithmetic.throughput_kg_s(x["mph"] * MPH, x["row_spacing_in"] * IN, x["plants_per_ac"] * factor("seed/ac", "seed/ha"))


def _bushels_an_hour(x: Inputs) -> float:
    kg_s = arithmetic.throughput_kg_s(x["mph"] * MPH, x["width_ft"] * FT, _kg_ha(x["bu_per_ac"], 56))
    return kg_s * factor("kg/s", "bu/h", 56)


def _tonnes_an_hour(x: Inputs) -> float:
    kg_s = arithmetic.throughput_kg_s(x["km_per_h"] * factor("km/h", "m/s"), x["width_m"], x["t_per_ha"] * factor("t/ha", "kg/ha"))
    return kg_s * factor("kg/s", "t/h")


WORK: dict[str, Callable[[Inputs], object]] = {
    "I01": lambda x: arithmetic.reel_rpm(x["index"], x["diameter_in"] * IN, x["mph"] * MPH),
    "I03": lambda x: arithmetic.reel_speed_index(x["rpm_per_mph"], x["diameter_in"] * IN, MPH),
    "I04": lambda x: arithmetic.reel_rpm(x["index"], x["diameter_in"] * IN, MPH),
    "I05": lambda x: quantity(f"{x['steps'] * 3} ft", "m") / quantity("20 s", "s") * factor("m/s", "mph"),
    "I06": _plants_a_second,
    "I07": lambda x: arithmetic.field_capacity_ha_h(x["mph"] * MPH, x["width_ft"] * FT) * factor("ha/h", "ac/h"),
    "I08": _bushels_an_hour,
    "I09": _tonnes_an_hour,
    "J01": lambda x: 100 * arithmetic.relative_error(x["total_seeds_counted"]),
    "J02": lambda x: arithmetic.seeds_for_relative_error(x["rel_se"]),
    "J03": lambda x: arithmetic.seeds_for_relative_error(x["rel_se"]) / x["density"],
    "J04": lambda x: arithmetic.upper_limit_of_zero(x["confidence"]),
}

ANSWERS = UNITS | SEEDS | FRAMES | LOSSES | MOISTURE | WAITING | WORK


@pytest.mark.parametrize("check", CHECKS, ids=[check["id"] for check in CHECKS])
def test_published_answer(check: dict[str, Any]) -> None:
    """The library's answer is the printed one, within the rounding its source shows."""
    answer, expected = ANSWERS[check["id"]](check["inputs"]), check["expected"]
    memory = " (from memory)" if check["from_memory"] else ""
    what, source = f"{check['id']} {check['quantity']} [{check['unit']}]", f"{check['kind']}: {check['source']}{memory}"
    if isinstance(expected, dict):
        assert isinstance(answer, dict)
        assert set(answer) == set(expected)
        for part, value in expected.items():
            agrees(f"{what}, {part}", source, answer[part], value, check["tolerance"])
    else:
        agrees(what, source, answer, expected, check["tolerance"])


def test_no_answer_without_its_check() -> None:
    """Each answer belongs to a check of the file, and each check has a source, a unit and a tolerance of its own."""
    assert set(ANSWERS) == set(BY_ID)
    assert len(BY_ID) == len(CHECKS)
    for check in CHECKS:
        assert check["source"]
        assert check["unit"]
        assert check["tolerance"] >= 0
        assert isinstance(check["from_memory"], bool)


def test_the_two_bases_of_percent_differ() -> None:
    """3 bu/ac lost on 35 harvested are 8.57 % of what was harvested and 7.89 % of what grew."""
    assert arithmetic.percent_of_harvested(3.0, 35.0) == pytest.approx(8.57, abs=0.01)
    assert arithmetic.percent_of_total(3.0, 35.0) == pytest.approx(7.89, abs=0.01)
