"""The numbers of the bench against published tables, worked examples of textbooks, and general libraries."""

import math
import random

import fluids
import psychrolib
import pytest

from diagnose.bench import air, premix, rotor
from diagnose.bench.atmosphere import (
    GAS_CONSTANT,
    LAPSE,
    SEA_LEVEL_TEMPERATURE,
    MoistAir,
    density_height,
    field_pressure,
    humidity_from,
    moist_air,
    pressure_height,
    saturation_pressure,
    speed_of_sound,
    standard_pressure,
)
from diagnose.bench.calculator import Given, NotPossible, Page
from diagnose.bench.mixture import STRONGEST, WEAKEST, air_shift, fuel_band, fuel_shift
from diagnose.case.readings import convert

psychrolib.SetUnitSystem(psychrolib.SI)


def value(page: Page, row: str) -> float:
    return next(one.value for one in page.rows if one.name == row)


def written(page: Page, row: str) -> str:
    return next(one.written for one in page.rows if one.name == row)


# Standard atmosphere


def standard_temperature(height: float) -> float:
    """Of the standard atmosphere at a height in metres, kelvin."""
    return SEA_LEVEL_TEMPERATURE - LAPSE * height


def standard_density(height: float) -> float:
    """Of the standard atmosphere, kg/m3: a gas at the pressure and temperature of that height."""
    return standard_pressure(height) / (GAS_CONSTANT * standard_temperature(height))


@pytest.mark.parametrize(
    ("metres", "kelvin", "pascal", "density"),
    [
        (0, 288.150, 101_325.0, 1.2250),
        (500, 284.900, 95_461.3, 1.16727),
        (1000, 281.651, 89_876.3, 1.11166),
        (2000, 275.154, 79_501.4, 1.00655),
        (3000, 268.659, 70_121.2, 0.909254),
    ],
)
def test_the_standard_atmosphere_has_the_rows_of_its_table(
    metres: int, kelvin: float, pascal: float, density: float
) -> None:
    """U.S. Standard Atmosphere 1976, table by geometric altitude (seen in three reprints that agree); the same atmosphere
    as ISO 2533:1975. Geometric metres are turned into geopotential ones with the radius of that standard, 6356.766 km."""
    height = 6_356_766 * metres / (6_356_766 + metres)
    assert math.isclose(standard_temperature(height), kelvin, rel_tol=3e-6)
    assert math.isclose(standard_pressure(height), pascal, rel_tol=3e-6)
    assert math.isclose(standard_density(height), density, rel_tol=6e-6)


def test_a_general_library_has_the_same_atmosphere() -> None:
    """fluids, ATMOSPHERE_1976, geometric heights."""
    for metres in range(-400, 4_001, 200):
        height = 6_356_766 * metres / (6_356_766 + metres)
        same = fluids.ATMOSPHERE_1976(metres)
        assert math.isclose(standard_pressure(height), same.P, rel_tol=1e-6)
        assert math.isclose(standard_density(height), same.rho, rel_tol=2e-5)
        assert math.isclose(speed_of_sound(same.T - 273.15), same.v_sonic, rel_tol=2e-5)


@pytest.mark.parametrize("metres", [-400, 0, 137, 1_000, 2_999])
def test_density_altitude_and_pressure_height_undo_the_table(metres: float) -> None:
    assert math.isclose(density_height(standard_density(metres)), metres, abs_tol=1e-3)
    assert math.isclose(pressure_height(standard_pressure(metres)), metres, abs_tol=1e-6)


def test_a_standard_qnh_gives_the_standard_pressure_of_the_field() -> None:
    """A QNH of 1013.25 hPa is the standard atmosphere by its definition; one millibar less is about 8.3 m lower there
    (28 ft, the figure of flying schools, from memory)."""
    assert math.isclose(field_pressure(101_325, 500), standard_pressure(500), rel_tol=1e-12)
    assert math.isclose(pressure_height(101_225) - pressure_height(101_325), 8.3, abs_tol=0.1)


# Moist air

COOLPROP = [
    (15.0, 0.0, 101_325, 1.225567),
    (20.0, 0.5, 101_325, 1.199359),
    (30.0, 0.8, 100_000, 1.134820),
    (35.0, 0.9, 101_325, 1.124266),
    (0.0, 0.5, 102_000, 1.300244),
    (25.0, 0.3, 85_000, 0.989282),
    (10.0, 0.9, 95_000, 1.164256),
    (40.0, 0.2, 70_000, 0.772653),
]
"""Degrees C, humidity, Pa, kg/m3: CoolProp 8.0.0, humid air (HAPropsSI), run once and written down."""


@pytest.mark.parametrize(("celsius", "humidity", "pascal", "density"), COOLPROP)
def test_moist_air_is_as_dense_as_in_a_library_of_real_gases(
    celsius: float, humidity: float, pascal: float, density: float
) -> None:
    assert math.isclose(moist_air(pascal, celsius, humidity).density, density, rel_tol=1.5e-4)


def test_moist_air_is_as_dense_as_in_a_library_for_engineers_of_buildings() -> None:
    """PsychroLib follows the ASHRAE handbook of fundamentals, chapter 1, ideal gases: 0.07 % at most."""
    chance = random.Random(5)
    for _ in range(500):
        celsius, humidity, pascal = chance.uniform(-5, 40), chance.uniform(0.05, 0.98), chance.uniform(68e3, 104e3)
        mixed = psychrolib.GetHumRatioFromRelHum(celsius, humidity, pascal)
        here = moist_air(pascal, celsius, humidity)
        assert math.isclose(here.density, psychrolib.GetMoistAirDensity(celsius, mixed, pascal), rel_tol=8e-4)
        assert math.isclose(here.dry, 1 / psychrolib.GetMoistAirVolume(celsius, mixed, pascal), rel_tol=1e-3)
        dew_point = psychrolib.GetTDewPointFromRelHum(celsius, humidity)
        if dew_point > 0:  # below, that library means frost
            assert math.isclose(humidity_from(celsius, dew_point, pascal), humidity, rel_tol=1e-3)


@pytest.mark.parametrize(("celsius", "pascal"), [(0.01, 611.657), (20.0, 2_339.3), (100.0, 101_418)])
def test_water_saturates_the_air_at_its_known_pressure(celsius: float, pascal: float) -> None:
    """IAPWS-95 steam tables (from memory): triple point, 20 and 100 degrees C. CIPM's form is made for room temperature."""
    assert math.isclose(saturation_pressure(celsius), pascal, rel_tol=3e-3)


def test_the_dry_share_of_dry_air_is_all_of_it() -> None:
    dry = moist_air(101_325, 15, 0)
    assert dry.dry == dry.density
    assert math.isclose(dry.density, 1.2255, rel_tol=1e-4)  # 0.04 % above the standard's ideal gas: a real one


# Mixture

DRY = 287.0
"""Gas constant of the two textbook examples, J/(kg K)."""


def dry(pascal: float, kelvin: float) -> MoistAir:
    density = pascal / (DRY * kelvin)
    return MoistAir(density, density)


@pytest.mark.parametrize(
    ("ratio", "metres", "celsius", "lapse_of_log", "at_height"),
    [
        (14.0, 5_000, 27.0, 5_000 / 19_200, 10.99),
        (14.7, 4_000, 22.0, 0.2083, 12.11),
    ],
)
def test_a_plain_carburettor_enriches_with_height_as_in_two_textbooks(
    ratio: float, metres: float, celsius: float, lapse_of_log: float, at_height: float
) -> None:
    """Two worked examples of engine textbooks, 'change in air fuel ratio at altitude' and 'air fuel ratio of an airplane
    engine carburettor', as published in code with public textbook companions (seen): t = ts - 0.0065 h,
    p = 1.013 bar / 10^(h/19200), and the ratio goes with the root of the density."""
    ground = dry(1.013e5, celsius + 273)
    above = dry(1.013e5 / 10**lapse_of_log, celsius - 0.0065 * metres + 273)
    assert math.isclose(ratio / air_shift(above, ground, STRONGEST), at_height, abs_tol=0.005)


def test_a_venturi_of_the_flow_standard_enriches_alike() -> None:
    """ISO 5167 through fluids: an 18 mm pipe with an 11 mm throat draws 23 cc 12,000 times a minute; the jet passes fuel as
    the root of the suction. Independent of our formula: the compressible meter of the standard."""

    def fuel_to_air(density: float, pascal: float) -> float:
        mass = 23e-6 * 200 * density
        suction = fluids.differential_pressure_meter_solver(
            D=0.018, D2=0.011, P1=pascal, P2=None, m=mass, rho=density, mu=1.8e-5, k=1.4,
            meter_type="as cast convergent venturi tube",
        )  # fmt: skip
        return math.sqrt(pascal - suction) / mass

    low, high = (fluids.ATMOSPHERE_1976(metres) for metres in (0, 3_000))
    measured = fuel_to_air(high.rho, high.P) / fuel_to_air(low.rho, low.P)
    ours = air_shift(MoistAir(high.rho, high.rho), MoistAir(low.rho, low.rho), STRONGEST)
    assert math.isclose(measured, ours, rel_tol=3e-3)


def test_what_opens_the_metering_chamber_weakens_the_effect_into_the_band() -> None:
    """Suction less 300 Pa, with venturi suctions of 1.15 to 4.8 kPa at sea level, is what the band stands for (worked)."""
    thin, thick = standard_density(3_000), standard_density(0)
    for suction in (1_148.0, 2_000.0, 4_800.0):
        jet = math.sqrt((suction * thin / thick - 300) / (suction - 300))
        exponent = -math.log(jet / (thin / thick)) / math.log(thin / thick)
        assert WEAKEST - 0.03 <= exponent <= STRONGEST


def test_damp_makes_it_richer_than_its_density_says() -> None:
    """Oxygen that water displaces counts beside the density: 30 C, 80 %, 1000 hPa against the standard day, +6.2 % and not
    +3.9 % (worked with the plain exponent)."""
    standard, tropical = moist_air(101_325, 15, 0), moist_air(100_000, 30, 0.8)
    assert math.isclose(air_shift(tropical, standard, 0.5), 1.062, abs_tol=0.001)
    assert math.isclose((tropical.density / standard.density) ** -0.5, 1.039, abs_tol=0.001)


def needs_of(carbon: float, hydrogen: float, oxygen: float) -> float:
    """Kilograms of air to burn one kilogram, by elements: C to CO2, H to H2O. Atomic weights 12.011, 1.008, 15.999; air
    28.9647 g/mol with 20.946 % of oxygen."""
    moles = carbon + hydrogen / 4 - oxygen / 2
    return moles / 0.20946 * 28.9647 / (12.011 * carbon + 1.008 * hydrogen + 15.999 * oxygen)


def test_ethanol_leans_by_what_it_brings_of_its_own_oxygen() -> None:
    """Elemental balance gives 14.6 for petrol as CH1.87 and 9.0 for ethanol; E10 then burns at 14.0 and runs 4 % leaner
    through the same jet, E15 6 % (worked; the flow of the heavier blend takes a third of a per cent of it back)."""
    assert math.isclose(needs_of(1, 1.87, 0), 14.604, abs_tol=0.01)
    assert math.isclose(needs_of(2, 6, 1), 9.005, abs_tol=0.01)
    assert math.isclose(fuel_shift(0.10, 0.0), 14.01 / 14.6 * 1.003, abs_tol=0.001)
    assert math.isclose(1 / fuel_shift(0.15, 0.0), 1.06, abs_tol=0.003)
    band = fuel_band(0.10, 0.0)
    assert band.least < fuel_shift(0.10, 0.0) < band.most < 1


# The air calculator


def aired(**given: float) -> Page:
    return air.work({name.replace("_", "-"): float(number) for name, number in given.items()})


def test_hot_damp_air_is_thinner_than_the_thermometer_alone_says() -> None:
    """30 C, 80 %, 1000 hPa: density altitude 790 m; the rule of 120 feet a degree, without damp, gives 686 m (worked)."""
    page = aired(temperature=30, humidity=80, pressure=1000)
    assert math.isclose(value(page, "now-density-altitude"), 790, abs_tol=1)
    assert written(page, "now-density-altitude") == "790 m (2591 ft)"


def test_the_change_of_mixture_is_a_band_with_its_direction_in_words() -> None:
    """5 C, 1025 hPa, 50 % to 35 C, 1000 hPa, 60 %: +7.2 % by the density alone in a plain carburettor (worked)."""
    page = aired(temperature=35, humidity=60, pressure=1000, set_temperature=5, set_humidity=50, set_pressure=1025)
    row = next(one for one in page.rows if one.name == "air-shift")
    assert row.least is not None and row.most is not None
    assert row.least < 7.2 < row.most < 12
    assert row.least > 3
    assert "richer" in row.written
    assert page.findings["air-compared"] == "thinner"
    assert page.findings["weather-against-when-set"] == "hotter"
    assert "height-against-when-set" not in page.findings
    assert any("safe side" in says for says in page.says)


def test_a_summer_setting_on_a_frosty_day_is_warned_of() -> None:
    page = aired(temperature=-5, humidity=70, height=200, set_temperature=28, set_humidity=50, set_height=200)
    assert page.cautions == ("cold-day-lean", "lean-run")
    assert any(says.startswith("Leaner is the side that kills engines") for says in page.says)
    assert page.findings["air-compared"] == "denser"
    assert page.findings["height-against-when-set"] == "same"
    assert float(page.findings["mixture-reckoned"].split()[0]) < -4


def test_ethanol_and_thin_air_stand_on_one_page_and_cancel() -> None:
    """From E0 to E10 is about as much leaner as 830 m of height are richer (worked, plain exponent)."""
    page = aired(
        temperature=9.75, humidity=50, height=830, ethanol=10,
        set_temperature=15, set_humidity=50, set_height=0, set_ethanol=0,
    )  # fmt: skip
    assert "richer" in written(page, "air-shift")
    assert "leaner" in written(page, "fuel-shift")
    assert abs(value(page, "shift")) < 1.5
    assert page.findings["ethanol-compared"] == "more-now"


def test_what_nobody_read_widens_the_band() -> None:
    read = aired(temperature=30, humidity=60, pressure=1000, set_temperature=10, set_humidity=60, set_pressure=1010)
    guessed = aired(temperature=30, height=100, set_temperature=10, set_height=100)

    def width(page: Page) -> float:
        row = next(one for one in page.rows if one.name == "air-shift")
        assert row.least is not None and row.most is not None
        return row.most - row.least

    assert width(guessed) > 1.3 * width(read)
    assert sum("no pressure is given" in says for says in guessed.says) == 2


def test_pressure_by_qnh_and_at_the_field_give_the_same_air() -> None:
    station, reduced = (
        aired(temperature=20, humidity=50, pressure=955),
        aired(temperature=20, humidity=50, qnh=1013.6, height=500),
    )
    assert math.isclose(value(station, "now-density"), value(reduced, "now-density"), rel_tol=2e-4)


@pytest.mark.parametrize(
    ("given", "says"),
    [
        ({"temperature": 20.0}, "give the pressure at the field, or the height"),
        ({"temperature": 10.0, "dew_point": 12.0, "height": 0.0}, "above the temperature"),
        ({"temperature": 20.0, "pressure": 1013.0, "height": 1500.0}, "give it as QNH"),
        ({"temperature": 20.0, "pressure": 1013.0, "qnh": 1013.0, "height": 1500.0}, "leave one of them out"),
        ({"temperature": 20.0, "dew_point": 5.0, "humidity": 90.0, "height": 0.0}, "leave one of them out"),
        ({"temperature": 20.0, "height": 0.0, "set_height": 0.0}, "its temperature too"),
    ],
)
def test_air_that_cannot_be_gets_one_clear_line(given: dict[str, float], says: str) -> None:
    with pytest.raises(NotPossible, match=says) as error:
        aired(**given)
    assert "\n" not in str(error.value)


# Rotor and propeller


@pytest.mark.parametrize(
    ("engine", "ratio", "metres", "head", "tip", "mach_15", "mach_30"),
    [
        (14_353, 9.0, 1.55, 1594.8, 129.43, 0.3803, 0.3708),
        (13_000, 6.5, 1.54, 2000.0, 161.27, 0.4739, 0.4620),
        (12_000, 8.0, 1.80, 1500.0, 141.37, 0.4154, 0.4050),
        (9_000, 6.0, 1.80, 1500.0, 141.37, 0.4154, 0.4050),
    ],
)
def test_head_speed_tip_speed_and_mach(
    engine: float, ratio: float, metres: float, head: float, tip: float, mach_15: float, mach_30: float
) -> None:
    """Worked by hand: head = engine / ratio, tip = pi D n / 60, Mach by the speed of sound of ISO 2533:1975 (340.294 m/s at
    15 C). The first row has the rotor of a miniature helicopter of a university (0.775 m, 167 rad/s; from memory)."""
    given: Given = {"engine-speed": engine, "ratio": ratio, "diameter": metres * 1000}
    page = rotor.work(given)
    assert math.isclose(value(page, "head-speed"), head, abs_tol=0.05)
    assert math.isclose(value(page, "tip-speed"), tip, abs_tol=0.01)
    assert math.isclose(value(page, "mach"), mach_15, abs_tol=1e-4)
    assert math.isclose(value(rotor.work({**given, "air-temperature": 30.0}), "mach"), mach_30, abs_tol=1e-4)
    back = rotor.work({"head-speed": head, "ratio": ratio})
    assert math.isclose(value(back, "engine-speed"), engine, rel_tol=1e-4)


def test_past_the_blade_makers_figure_is_said_first_and_held() -> None:
    page = rotor.work({"head-speed": 2000.0, "ratio": 6.5, "blade-limit": 1950.0})
    assert page.says[0].startswith("PAST THE LIMIT")
    assert page.cautions == ("blade-limit",)
    assert page.findings["blade-speed"] == "past"
    assert rotor.work({"head-speed": 1500.0, "ratio": 6.5, "blade-limit": 1950.0}).findings["blade-speed"] == "inside"


def test_engine_head_and_gear_together_tell_whether_the_clutch_slips() -> None:
    held = rotor.work({"engine-speed": 13_000.0, "head-speed": 1_990.0, "ratio": 6.5})
    slips = rotor.work({"engine-speed": 13_000.0, "head-speed": 1_850.0, "ratio": 6.5})
    assert (held.findings["clutch-ratio"], slips.findings["clutch-ratio"]) == ("together", "slips")
    with pytest.raises(NotPossible, match="count the teeth"):
        rotor.work({"engine-speed": 13_000.0, "head-speed": 2_200.0, "ratio": 6.5})


def test_the_idle_is_measured_against_the_clutch_and_the_engine_against_its_maker() -> None:
    page = rotor.work(
        {
            "head-speed": 1500.0,
            "ratio": 8.0,
            "clutch": 5000.0,
            "idle": 4700.0,
            "engine-lowest": 9000.0,
            "engine-highest": 11_500.0,
        }
    )
    assert page.findings["idle-under-clutch"] == "6.0 %"
    assert page.findings["engine-speed-asked"] == "above"
    assert math.isclose(value(page, "clutch-room"), 140)


def test_a_propeller_turns_with_its_crankshaft() -> None:
    page = rotor.work({"machine": "aeroplane", "engine-speed": 8_000.0, "diameter": 558.8})
    assert value(page, "head-speed") == 8_000
    assert page.title.startswith("Propeller")
    assert "clutch-ratio" not in page.findings


# Premix


@pytest.mark.parametrize(
    ("ratio", "per_litre", "ounces_a_gallon", "share", "for_five_litres"),
    [
        (20, 50.000, 6.40, 4.762, 250.00),
        (25, 40.000, 5.12, 3.846, 200.00),
        (32, 31.250, 4.00, 3.030, 156.25),
        (40, 25.000, 3.20, 2.439, 125.00),
        (50, 20.000, 2.56, 1.961, 100.00),
    ],
)
def test_oil_for_petrol(
    ratio: float, per_litre: float, ounces_a_gallon: float, share: float, for_five_litres: float
) -> None:
    """Division; 128 fluid ounces to the gallon (NIST Handbook 44, appendix C). 32:1 is four ounces (common practice)."""
    page = premix.work({"ratio": ratio, "petrol": 5.0})
    assert math.isclose(value(page, "oil-per-litre"), per_litre)
    assert f"({ounces_a_gallon:.2f} US fl oz to a US gal)" in written(page, "oil-per-litre")
    assert math.isclose(value(page, "oil-share-asked"), share, abs_tol=5e-4)
    assert math.isclose(value(page, "oil-to-add"), for_five_litres)


@pytest.mark.parametrize(
    ("unit", "millilitres"),
    [
        ("gallon", 3_785.412),
        ("fluid_ounce", 29.573_53),
        ("quart", 946.3529),
        ("imperial_gallon", 4_546.09),
        ("imperial_fluid_ounce", 28.413_06),
    ],
)
def test_volumes_have_the_factors_of_the_guide(unit: str, millilitres: float) -> None:
    """NIST Special Publication 811 (2008), appendix B.8 (gallon and US fluid ounce seen in reprints of the table)."""
    assert math.isclose(convert(1, unit, "millilitre"), millilitres, rel_tol=2e-7)


def test_what_is_in_the_can_after_topping_up() -> None:
    """2 l of 50:1 hold 39.2 ml of oil, 3 l of 25:1 hold 115.4 ml: 154.6 ml to 4845.4 ml of petrol is 31.3:1 (by hand)."""
    page = premix.work({"ratio": 32.0, "can": 2.0, "can-ratio": 50.0, "top-up": 3.0, "top-up-ratio": 25.0})
    assert math.isclose(value(page, "oil-now"), 154.6, abs_tol=0.05)
    assert math.isclose(value(page, "ratio-now"), 31.34, abs_tol=0.01)
    assert page.findings == {"oil-ratio": "right"}


def test_petrol_poured_onto_a_mix_asks_for_its_oil() -> None:
    """1 l of 32:1 and 2 l of petrol without oil: 30.3 ml of oil to 2969.7 ml of petrol; 62.5 ml are missing (by hand)."""
    page = premix.work({"ratio": 32.0, "can": 1.0, "can-ratio": 32.0, "petrol": 2.0})
    assert math.isclose(value(page, "oil-to-add"), 62.5, abs_tol=0.01)
    assert page.findings == {"oil-ratio": "less"}
    assert page.cautions == ("lean-run",)
    assert any(says.startswith("SHORT OF OIL") for says in page.says)


def test_too_much_oil_asks_for_petrol() -> None:
    page = premix.work({"ratio": 50.0, "petrol": 1.0, "oil": 40.0})
    assert page.findings == {"oil-ratio": "more"}
    assert math.isclose(value(page, "petrol-to-add"), 1000)


def test_a_mix_of_unknown_ratio_cannot_be_reckoned() -> None:
    with pytest.raises(NotPossible, match="can-ratio together"):
        premix.work({"ratio": 32.0, "can": 1.0})
    with pytest.raises(NotPossible, match="give the petrol"):
        premix.work({"ratio": 32.0})
