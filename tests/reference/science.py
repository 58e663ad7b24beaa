"""Compares the formulas of src/science with scipy, CoolProp, iapws, pint and chemicals.

Run by tests/reference.rs, which answers in between:
    science.py inputs FILE             writes random arguments, always the same
    science.py speed                   prints how long scipy takes for some of them
    science.py compare FILE ANSWERS    prints the largest deviation of each formula; fails beyond tolerance

A line of FILE is: name of the case, name of the formula, arguments; of ANSWERS: numbers, or a refusal.
"""

import csv
import sys
import timeit
from functools import wraps
from pathlib import Path

import chemicals
import numpy as np
import pint
from CoolProp.CoolProp import PropsSI
from iapws import IAPWS97
from iapws._iapws import _Henry
from scipy.integrate import trapezoid
from scipy.interpolate import RegularGridInterpolator
from scipy.optimize import brentq, curve_fit

from sensory import TASTING

POINTS = 10_000
TABLES = Path(__file__).parent.parent / "check-values"
CASES = []


def case(formula, reference, unit, tolerance, inputs):
    """Registers a function of columns as the reference of a formula; `inputs` draws one row of arguments."""

    def register(function):
        CASES.append((function.__name__, formula, reference, unit, np.atleast_1d(tolerance), inputs, function))
        return function

    return register


def uniform(*ranges):
    """Arguments that lie evenly in ranges."""
    return lambda random: [random.uniform(low, high) for low, high in ranges]


def rows(function):
    """A function of one row, applied to columns."""
    return wraps(function)(lambda *columns: np.array([function(*row) for row in zip(*columns)]))


def table(name):
    with open(TABLES / name) as file:
        return list(csv.DictReader(file))


# --- Water: CoolProp (IAPWS-95) and iapws (IAPWS-97), which share nothing with the formulas but physics.


@case("water_density", "CoolProp", "kg/m³", 0.002, uniform((0.01, 40)))
def water_density_coolprop(t):
    return PropsSI("D", "T", t + 273.15, "P", 101325, "Water")


# IAPWS-97 is itself good to 0.001 %.
@case("water_density", "iapws 97", "kg/m³", 0.01, uniform((0.01, 40)))
def water_density_iapws(t):
    return np.array([IAPWS97(T=x + 273.15, P=0.101325).rho for x in t])


@case("boiling_point", "CoolProp", "°C", 0.001, uniform((-400, 5000)))
def boiling_point(altitude):
    pressure = 101325 * (1 - 2.25577e-5 * altitude) ** 5.25588
    return PropsSI("T", "P", pressure, "Q", 0, "Water") - 273.15


@case("latent_heat", "CoolProp", "kJ/kg", 0.1, uniform((1, 110)))
def latent_heat_coolprop(t):
    enthalpy = lambda vapour: PropsSI("H", "T", t + 273.15, "Q", vapour, "Water") / 1000
    return enthalpy(1) - enthalpy(0)


@case("latent_heat", "iapws 97", "kJ/kg", 0.15, uniform((1, 110)))
def latent_heat_iapws(t):
    return np.array([IAPWS97(T=x + 273.15, x=1).h - IAPWS97(T=x + 273.15, x=0).h for x in t])


@case("water_heat", "CoolProp", "kJ/kg", 0.1, uniform((0.5, 99.9), (0.5, 99.9)))
def water_heat(start, end):
    heat = lambda t: PropsSI("H", "T", t + 273.15, "P", 101325, "Water") / 1000
    return heat(end) - heat(start)


def solubility(t):
    """Carbon dioxide in water, g/L for each bar."""
    henry_bar = np.array([10 * _Henry(x + 273.15, "CO2") for x in t])
    fraction = 1 / henry_bar
    mol_l = PropsSI("D", "T", t + 273.15, "P", 101325, "Water") / chemicals.MW("7732-18-5")
    return fraction / (1 - fraction) * mol_l * chemicals.MW("124-38-9")


@case("water_solubility", "iapws Henry, CoolProp", "g/(L bar)", 0.0005, uniform((1.1, 40)))
def water_solubility(t):
    return solubility(t)


@case("bottle", "iapws Henry, CoolProp", "bar", 0.005,
      uniform((300, 3000), (0, 100), (0, 20), (0, 24), (0, 2), (2, 35)))
def bottle_pressure(drink, head, vol, residual, dissolved, t):
    hexose, gas = chemicals.MW("50-99-7"), chemicals.MW("124-38-9")
    held = 1.951 * (0.86 - 0.01 * vol) * solubility(t) / solubility(np.array([20.0]))
    above = gas / (0.083144626 * (t + 273.15)) * head / drink
    return (2 * gas / hexose * residual + dissolved) / (held + above)


# --- Sugar: the polynomial written again, with scipy's roots.

SUCROSE = [998.2017, 385.1761, 135.3705, 40.9299, -3.9643, 13.4853, -17.2890]


def sucrose_density(w):
    return np.polynomial.polynomial.polyval(w, SUCROSE)


def sucrose_at(sg):
    return brentq(lambda w: sucrose_density(w) / SUCROSE[0] - sg, -0.3, 0.86, xtol=1e-15)


def sucrose_holding(g_l):
    return brentq(lambda w: w * sucrose_density(w) - g_l, -0.3, 0.86, xtol=1e-15)


@case("brix_from_sg", "scipy brentq", "°Bx", 1e-9, uniform((0.98, 1.4148)))
def brix_from_sg(sg):
    return np.array([100 * sucrose_at(x) for x in sg])


@case("brix_from_sugar", "scipy brentq", "°Bx", 1e-9, uniform((-50, 1129)))
def brix_from_sugar(g_l):
    return np.array([100 * sucrose_holding(x) for x in g_l])


def water(t):
    tanaka = lambda t: 1 - (t - 3.983035) ** 2 * (t + 301.797) / (522528.9 * (t + 69.34881))
    return SUCROSE[0] * tanaka(t) / tanaka(20.0)


def sucrose_density_at(w, t):
    volume = 1 / sucrose_density(w) - (1 - w) / SUCROSE[0]
    return 1 / ((1 - w) / water(t) + volume * (1 + 7.2e-4 * (t - 20)))


@case("hydrometer", "scipy brentq", "SG", 1e-11, uniform((0.98, 1.2), (5, 40), (15, 20)))
@rows
def hydrometer(read, t, made_for):
    true = read * water(made_for) / (1 + 25e-6 * (t - made_for))
    w = brentq(lambda w: sucrose_density_at(w, t) - true, -0.2, 0.86, xtol=1e-15)
    return sucrose_density(w) / SUCROSE[0]



@case("brix_from_index", "scipy brentq", "°Bx", 1e-9, uniform((1.33299, 1.5039)))
def brix_from_index(index):
    fit = [1.33298875, 0.14267077, 0.05540028, 0.01003427, 0.01594536, -0.01080032]
    value = lambda w: np.polynomial.polynomial.polyval(w, fit)
    return np.array([100 * brentq(lambda w: value(w) - n, -0.01, 0.86, xtol=1e-15) for n in index])


@case("refractometer", "scipy grid", "°Bx", 1e-9, uniform((10, 75), (10, 16)))
def refractometer(brix, t):
    lines = table("oiv_refractometer_temp_correction.csv")
    columns = [float(name[1:]) for name in lines[0] if name != "temp_C"]
    grid = [[float(cell) for name, cell in line.items() if name != "temp_C"] for line in lines]
    at = RegularGridInterpolator(([float(line["temp_C"]) for line in lines], columns), grid)
    return brix + at(np.column_stack([t, brix]))


# --- Alcohol: OIML R 22 with the coefficients of the table, and pure ethanol and water by CoolProp.


def oiml_coefficients():
    a, b, c = [], [], {}
    for line in table("oiml_r22_coefficients.csv"):
        value = float(line["value"])
        if line["set"] == "C":
            c[int(line["i_or_k"]), int(line["k"])] = value
        else:
            (a if line["set"] == "A" else b).append(value)
    return a, b, c


OIML_A, OIML_B, OIML_C = oiml_coefficients()


def mixture(p, t=20.0):
    w = t - 20.0
    return (
        sum(a * p**k for k, a in enumerate(OIML_A))
        + sum(b * w ** (k + 1) for k, b in enumerate(OIML_B))
        + sum(c * p**k * w**i for (i, k), c in OIML_C.items())
    )


def mass_fraction(vol):
    if vol in (0, 100):
        return vol / 100
    return brentq(lambda p: 100 * p * mixture(p) / mixture(1.0) - vol, 0, 1, xtol=1e-15)


@case("mixture_density", "numpy", "kg/m³", 1e-7, uniform((0, 100), (-20, 40)))
def mixture_density(mass, t):
    return mixture(mass / 100, t)


@case("mixture_density", "CoolProp water", "kg/m³", 0.01, lambda random: [0.0, random.uniform(0.1, 40)])
def mixture_water(_, t):
    return PropsSI("D", "T", t + 273.15, "P", 101325, "Water")


@case("mixture_density", "CoolProp ethanol", "kg/m³", 0.3, lambda random: [100.0, random.uniform(-20, 40)])
def mixture_ethanol(_, t):
    return PropsSI("D", "T", t + 273.15, "P", 101325, "Ethanol")


@case("mass_from_vol", "scipy brentq", "%", 1e-9, uniform((0, 100)))
def mass_from_vol(vol):
    return np.array([100 * mass_fraction(x) for x in vol])


def any_gravities(random):
    """Gravities of musts that have not fermented further than they can."""
    og = random.uniform(1.005, 1.15)
    return [og, random.uniform(max(0.985, og - 1.1 * (og - 1)), min(og, 1.1))]


@case("strength", "scipy brentq", ["% vol", "% mass", "%"], [1e-7, 1e-7, 1e-7], any_gravities)
@rows
def strength(og, fg):
    oe = 100 * sucrose_at(og)
    left = lambda a: oe * (100 + 1.0665 * a) / 100 - 2.0665 * a
    vol = lambda a: a * fg * SUCROSE[0] / mixture(1.0)

    def excess(a):
        extract = sucrose_density(sucrose_holding(left(a) / 100 * fg * SUCROSE[0])) / SUCROSE[0]
        return extract + mixture(mass_fraction(vol(a))) / mixture(0.0) - 1 - fg

    a = brentq(excess, 0, min(20, 0.556 * oe), xtol=1e-14)
    return vol(a), a, left(a)



@case("blend", "scipy brentq", ["L", "% vol"], [1e-7, 1e-8], uniform((1, 100), (0, 100), (1, 100), (0, 100)))
@rows
def blend(volume_a, vol_a, volume_b, vol_b):
    p = [mass_fraction(vol_a), mass_fraction(vol_b)]
    mass = [volume_a * mixture(p[0]), volume_b * mixture(p[1])]
    both = (mass[0] * p[0] + mass[1] * p[1]) / sum(mass)
    return sum(mass) / mixture(both), 100 * both * mixture(both) / mixture(1.0)



@case("sugar_for_strength", "scipy brentq", ["kg", "L"], [1e-8, 1e-8],
      lambda random: [random.uniform(1, 100), random.uniform(1.0, 1.05), random.uniform(8.5, 20)])
@rows
def sugar_for_strength(volume, sg, vol):
    hexose, sucrose = chemicals.MW("50-99-7"), chemicals.MW("57-50-1")
    target = vol * 16.83 * 342.297 / (2 * 180.156)
    assert abs(sucrose / hexose / (342.297 / 180.156) - 1) < 1e-5
    mass, w = volume * sg * SUCROSE[0] / 1000, sucrose_at(sg)
    after = lambda added: (mass * w + added) / (mass + added)
    holds = lambda added: after(added) * sucrose_density(after(added)) - target
    added = brentq(holds, 0, 10 * mass, xtol=1e-14)
    return added, 1000 * (mass + added) / sucrose_density(after(added))



# --- Chemistry: molar masses of chemicals; energies by pint.


@case("tartaric_as", "chemicals", ["g/L"] * 5, [0.002] * 5, uniform((0, 20)))
def tartaric_as(g_l):
    acids = [("50-21-5", 1), ("77-92-9", 3), ("6915-15-7", 2), ("7664-93-9", 2), ("64-19-7", 1)]
    tartaric = chemicals.MW("87-69-4") / 2
    return np.column_stack([g_l * chemicals.MW(number) / protons / tartaric for number, protons in acids])


@case("metabisulphite", "chemicals", ["g", "g"], [0.001, 0.001], uniform((1, 100), (0, 150)))
def metabisulphite(volume, add):
    salt = lambda number: volume * add / 1000 * chemicals.MW(number) / (2 * chemicals.MW("7446-09-5"))
    return np.column_stack([salt("16731-55-8"), salt("7681-57-4")])


@case("diammonium_phosphate", "chemicals", "g", 0.01, uniform((1, 100), (0, 400)))
def diammonium_phosphate(volume, add):
    return volume * add / 1000 * chemicals.MW("7783-28-0") / (2 * chemicals.MW("17778-88-0"))


@case("boil", "pint, CoolProp", ["kWh", "h"], [0.001, 0.001],
      uniform((1, 50), (0.1, 0.9), (10, 30), (500, 3000), (0.5, 0.85)))
def boil(volume, share, start, power, efficiency):
    unit = pint.UnitRegistry()
    mass = unit.Quantity(volume * 1.025, "kg")
    off = mass - unit.Quantity(volume * share * 1.025, "kg")
    latent = PropsSI("H", "T", 373.15, "Q", 1, "Water") - PropsSI("H", "T", 373.15, "Q", 0, "Water")
    warming = unit.Quantity(3.95, "kJ/kg/delta_degC") * mass * unit.Quantity(100 - start, "delta_degC")
    heat = warming + off * unit.Quantity(latent, "J/kg")
    time = heat / unit.Quantity(power * efficiency, "W")
    drawn = time * unit.Quantity(power, "W")
    return np.column_stack([drawn.to("kWh").magnitude, time.to("hour").magnitude])


@case("molecular_sulphite", "scipy grid", "share", 1e-12, uniform((2.8, 4.2), (0, 20), (20, 40)))
def molecular_sulphite(ph, vol, t):
    lines = [line for line in table("so2_pk_oiv.csv") if line["table"] == "pKM"]
    temperatures = [name for name in lines[0] if name.startswith("t") and name != "table"]
    grid = [[float(line[name]) for name in temperatures] for line in lines]
    axes = ([float(line["abv_pct"]) for line in lines], [float(name[1:]) for name in temperatures])
    return 1 / (1 + 10 ** (ph - RegularGridInterpolator(axes, grid)(np.column_stack([vol, t]))))


# --- Time: heat treatment, ageing, fermentation.


def any_log(random):
    minutes = np.cumsum(random.uniform(0.5, 5, 8))
    return [x for pair in zip(minutes, random.uniform(45, 75, 8)) for x in pair]


@case("units_of_log", "scipy trapezoid", "PU", 1e-7, any_log)
def units_of_log(*columns):
    minutes, temperatures = np.array(columns[0::2]), np.array(columns[1::2])
    return trapezoid(1.393 ** (temperatures - 60), minutes, axis=0)


@case("weighted_age", "numpy", "days", 1e-8, uniform((2, 4), (0, 300), (0, 35), (0, 300), (0, 35)))
def weighted_age(q10, days_a, t_a, days_b, t_b):
    return days_a * q10 ** ((t_a - 15) / 10) + days_b * q10 ** ((t_b - 15) / 10)


def logistic(t, fg, drop, rate, middle):
    return fg + drop / (1 + np.exp(rate * (t - middle)))


def any_batch(random):
    """A curve and its readings, daily to the end, each off by up to 0.0005 and read to 0.0001."""
    fg, drop, rate = random.uniform(0.99, 1.015), random.uniform(0.03, 0.1), random.uniform(0.3, 1.5)
    middle = random.uniform(2.5, 5) / rate
    days = np.linspace(0, middle + 6 / rate, 14)
    read = np.round(logistic(days, fg, drop, rate, middle) + random.uniform(-0.0005, 0.0005, 14), 4)
    return [fg, drop, rate, middle, *(x for pair in zip(days, read) for x in pair)]


@case("fit", "scipy curve_fit", ["SG", "SG", "1/day", "days", "SG"], [1e-6, 1e-5, 1e-4, 1e-4, 1e-8], any_batch)
@rows
def fit(fg, drop, rate, middle, *points):
    days, read = np.array(points[0::2]), np.array(points[1::2])
    start, finest = [fg, drop, rate, middle], {"xtol": 1e-13, "ftol": 1e-13, "gtol": 1e-13}
    found, _ = curve_fit(logistic, days, read, p0=start, maxfev=10_000, **finest)
    rmse = np.sqrt(np.mean((logistic(days, *found) - read) ** 2))
    return found[0], found[0] + found[1], found[2], found[3], rmse



# --- Tastings: sensory.py.

for _name, _reference, _unit, _tolerance, _inputs, _function in TASTING:
    case(_name, _reference, _unit, _tolerance, _inputs)(_function)


def write_inputs(path):
    random = np.random.default_rng(1)
    with open(path, "w") as file:
        for name, formula, _, _, _, inputs, _ in CASES:
            for _ in range(POINTS):
                file.write(" ".join([name, formula, *(repr(float(x)) for x in inputs(random))]) + "\n")


def compare(inputs_path, answers_path):
    asked = [line.split() for line in open(inputs_path)]
    answered = [line.split() for line in open(answers_path)]
    assert len(asked) == len(answered) == POINTS * len(CASES), "an answer for every question"
    failed = False
    print(f"{'formula':<22}{'reference':<24}{'points':>8}  largest deviation (tolerance)")
    for at, (name, formula, reference, unit, tolerance, _, function) in enumerate(CASES):
        part = slice(at * POINTS, (at + 1) * POINTS)
        lines, answers = asked[part], answered[part]
        assert all(line[0] == name for line in lines)
        good = [n for n, answer in enumerate(answers) if answer[0] != "refused"]
        arguments = np.array([[float(x) for x in lines[n][2:]] for n in good]).T
        got = np.array([[float(x) for x in answers[n]] for n in good])
        want = np.asarray(function(*arguments)).reshape(len(good), -1)
        assert got.shape == want.shape, f"{name}: {got.shape} against {want.shape}"
        largest = np.max(np.abs(got - want), axis=0)
        units = [unit] if isinstance(unit, str) else unit
        told = ", ".join(f"{x:.2g} {u} ({t:g})" for x, u, t in zip(largest, units, tolerance))
        bad = len(good) < POINTS or not np.all(largest <= tolerance)
        failed |= bad
        print(f"{formula:<22}{reference:<24}{len(good):>8}  {told}{'  FAILED' if bad else ''}")
    return failed


def median_seconds(work, calls):
    """Seconds of the middle one of many runs."""
    return sorted(timeit.repeat(work, number=calls, repeat=15))[7] / calls


def speed():
    """How long scipy takes for a strength by two gravities and for a curve through 60 readings."""
    print("strength", median_seconds(lambda: strength(np.array([1.075]), np.array([1.0])), 10))
    days = np.arange(60) / 4
    read = logistic(days, 0.998, 0.087, 0.9, 3.5) + np.where(np.arange(60) % 2 == 0, 0.0003, -0.0003)
    print("curve", median_seconds(lambda: curve_fit(logistic, days, read, p0=[1.0, 0.08, 0.5, 4]), 5))


if __name__ == "__main__":
    if sys.argv[1] == "inputs":
        write_inputs(sys.argv[2])
    elif sys.argv[1] == "speed":
        speed()
    else:
        sys.exit(compare(sys.argv[2], sys.argv[3]))
