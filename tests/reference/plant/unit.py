"""A unit's parameters in SI, read from the [virtual] table of a rig file with this module's own unit table."""

import math
import pathlib
import tomllib
from types import SimpleNamespace

UNITS = {
    "us": 1e-6, "ms": 1e-3, "s": 1.0, "N·m": 1.0, "mN·m": 1e-3, "N·m/ms": 1e3, "Hz": 1.0, "kHz": 1e3,
    "N·m/A": 1.0, "V·s/rad": 1.0, "ohm": 1.0, "%": 1e-2, "ppm": 1e-6, "1": 1.0, "V": 1.0, "kg·m²": 1.0,
    "N·m/rad": 1.0, "N·m·s/rad": 1.0, "deg": math.pi / 180, "rad/s": 1.0, "°C": 1.0, "K": 1.0, "K/W": 1.0,
    "J/K": 1.0, "A": 1.0, "mA": 1e-3, "mV": 1e-3,
}


def si(text):
    """A quantity written as text, in SI."""
    if not isinstance(text, str):
        return float(text)
    number, unit = text.split()
    return float(number) * UNITS[unit]


def side(table):
    """LuGre parameters of one side."""
    coulomb = si(table["coulomb"])
    return SimpleNamespace(
        tc=coulomb, ts=coulomb * si(table["breakaway_ratio"]), vs=si(table["stribeck_speed"]),
        s0=coulomb / si(table["presliding"]), s1=si(table["bristle_damping"]),
        vd=si(table["bristle_damping_speed"]), s2=si(table["viscous"]))


def stage(table):
    """Stiffness, damping and half of the gap of a drive stage."""
    return SimpleNamespace(k=si(table["stiffness"]), c=si(table["damping"]), half=si(table["backlash"]) / 2)


def gear(table):
    """The gear stage and its shaft, all at the rim; None where there is none."""
    if table is None:
        return None
    return SimpleNamespace(
        mesh=stage(table), js=si(table["shaft"]) * table["shaft_ratio"] ** 2, bs=si(table["shaft_viscous"]),
        mu=si(table["load_friction"]))


def rigs():
    """The folder of rig files."""
    return pathlib.Path(__file__).resolve().parents[3] / "rigs"


def load(path=None):
    """The unit of `path`, by default rigs/belt.toml."""
    path = path or rigs() / "belt.toml"
    v = tomllib.loads(pathlib.Path(path).read_text(encoding="utf-8"))["virtual"]
    m, mount, h = v["motor"], v["mounting"], v["heat"]
    bearing = v.get("bearing", {"eccentricity": 0, "phase": 0})
    assert si(v["firmware"]["jitter"]) == 0
    assert all(si(v["firmware"].get(key, 0)) == 0 for key in ("smoothing", "deadband", "resolution"))
    return SimpleNamespace(
        file=str(pathlib.Path(path).name),
        poll_s=si(v["firmware"]["period"]), dead_s=si(v["firmware"]["dead_time"]),
        peak=si(v["torque"]["peak"]), slew=si(v["torque"]["slew"]), loop=2 * math.pi * si(v["torque"]["loop_bandwidth"]),
        gain=si(v["torque"]["gain"]), offset=si(v["torque"]["offset"]),
        kt=si(m["torque_constant"]) * m["ratio"] * si(m["efficiency"]), ke=si(m["back_emf"]) * m["ratio"],
        r=si(m["resistance"]) * (1 + 0.00393 * (si(v["heat"]["ambient"]) - 20)) + si(m["supply_resistance"]),
        volt=si(m.get("voltage_limit", m["supply"])),
        flux=1 - si(m.get("flux_loss_per_kelvin", 0)) * (si(v["heat"]["ambient"]) - 20),
        jm=si(v["inertia"]["rotor"]) * m["ratio"] ** 2, jh=si(v["inertia"]["hub"]),
        drive=stage(v["drive"]), gear=gear(v.get("gear")),
        bearing=(si(bearing["eccentricity"]), si(bearing["phase"])),
        fm=side(v["friction"]["motor"]), fh=side(v["friction"]["output"]),
        ripple=[(r["order"], si(r.get("amplitude", 0)), si(r.get("torque_share", 0)), si(r["phase"]))
                for r in v.get("ripple", [])],
        heat=SimpleNamespace(
            winding_case=si(h["winding_case"]), case_air=si(h["case_air"]), winding=si(h["winding"]), case=si(h["case"]),
            ambient=si(h["ambient"]), ohm=si(m["resistance"]), loss_factor=si(m.get("loss_factor", 1)),
            flux_loss=si(m.get("flux_loss_per_kelvin", 0))),
        kr=1 / (1 / si(mount["sensor_stiffness"]) + 1 / si(mount["fixture_stiffness"])), cr=si(mount["damping"]))
