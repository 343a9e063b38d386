"""The hand lines behind bearings of the sun: amplitude, low sun, azimuth by formula, and the check of a compass."""

from __future__ import annotations

from truemile.core.angles import wrap_180
from truemile.core.magnetism import COVERAGE_FACTOR
from truemile.core.position import format_position
from truemile.core.sky import SUN_CAUTION, Body, BodyPlace, dip_deg
from truemile.core.sun_bearing import (
    HORIZON_REFRACTION_DEG,
    SUN_SEMIDIAMETER_DEG,
    Amplitude,
    LowSun,
    Side,
    Sight,
    SunCheck,
    altitude_of_low_sun,
    amplitude,
    solve_triangle,
)
from truemile.working.hand import Carried, Hand, settle
from truemile.working.lines import Kind, Working

_NORTH = "north +, south \N{MINUS SIGN}"
_EAST = "east +, west \N{MINUS SIGN}"


def explain_amplitude(found: Amplitude) -> Working:
    """Return the lines of an amplitude: sin A = sin d / cos φ, or with the altitude where it is not 0."""
    return settle(lambda carried: _write_amplitude(found, carried)).working()


def explain_low_sun(
    latitude_deg: float,
    declination_deg: float,
    side: Side,
    look: LowSun,
    eye_height_m: float,
    semidiameter_deg: float = SUN_SEMIDIAMETER_DEG,
) -> Working:
    """Return the lines from what is seen on the sea horizon to the true bearing of the sun.

    Raises
    ------
    ReadingError
        If a value is out of its range.
    NoSolution
        If the sun does not come to the horizon there.
    """
    altitude = altitude_of_low_sun(look, eye_height_m, semidiameter_deg)
    found = amplitude(latitude_deg, declination_deg, side, altitude)

    def write(carried: Carried) -> Hand:
        hand = Hand(f"Sun {side.value}, {look.value}", carried)
        if look is not LowSun.CENTRE_LEVEL:
            _write_altitude(hand, look, eye_height_m, semidiameter_deg, altitude)
        _write_bearing(hand, found, worked=look is not LowSun.CENTRE_LEVEL)
        hand.note(SUN_CAUTION)
        return hand

    return settle(write).working()


def explain_azimuth(place: BodyPlace) -> Working:
    """Return the lines from declination and hour angle of the almanac to the true azimuth.

    Raises
    ------
    NoSolution
        If the body is in the zenith, or the place is a pole.

    Notes
    -----
    For the moon the lines give its altitude seen from the earth's centre, up to a degree higher; the azimuth hardly
    differs.
    """
    return settle(lambda carried: _write_azimuth(place, carried)).working()


def explain_sun_check(found: SunCheck) -> Working:
    """Return the lines from true bearing and reading to error and deviation, with the ±."""
    return settle(lambda carried: _write_check(found, carried)).working()


def _write_amplitude(found: Amplitude, carried: Carried) -> Hand:
    hand = Hand(f"Amplitude, {found.side.value}", carried)
    if found.altitude_deg:
        hand.given("h", "true altitude of the centre", found.altitude_deg, 2, "°")
    _write_bearing(hand, found, worked=bool(found.altitude_deg))
    return hand


def _write_bearing(hand: Hand, found: Amplitude, *, worked: bool) -> None:
    """Write the lines of the bearing; a line above has given h if it is to be used."""
    hand.section("True bearing")
    hand.given("phi", f"latitude, {_NORTH}", found.latitude_deg, 2, "°")
    hand.given("d", f"declination, {_NORTH}", found.declination_deg, 2, "°")
    plain = "asin(sin(d) / cos(phi))"
    formula = "asin((sin(d) - sin(phi) * sin(h)) / (cos(phi) * cos(h)))" if worked else plain
    hand.line("A", f"amplitude, {_NORTH}", formula, 1, "°", core=found.amplitude_deg, kind=Kind.SHOWN)
    if found.side is Side.RISING:
        hand.line("Z", "true bearing", "90 - A", 1, "°", core=90.0 - found.amplitude_deg, kind=Kind.ANSWER)
    else:
        hand.line("Z", "true bearing", "270 + A", 1, "°", core=270.0 + found.amplitude_deg, kind=Kind.ANSWER)
    hand.note(f"Amplitude as it is written: {found.words}.")


def _write_altitude(hand: Hand, look: LowSun, eye_height_m: float, semidiameter_deg: float, altitude: float) -> None:
    hand.section("True altitude of the centre")
    hand.given("e", "height of the eye", eye_height_m, 1, "m")
    hand.line("D", "dip of the horizon", "1.76 * sqrt(e)", 1, "′", core=60.0 * dip_deg(eye_height_m))
    hand.given("r", "refraction on the horizon", 60.0 * HORIZON_REFRACTION_DEG, 0, "′")
    hand.given("s", "semidiameter of the sun", 60.0 * semidiameter_deg, 1, "′")
    formula = "s - D - r" if look is LowSun.LOWER_LIMB_ON_HORIZON else "-D - r - s"
    hand.line("m", f"altitude, {look.value}", formula, 1, "′", core=60.0 * altitude)
    hand.line("h", "altitude in degrees", "m / 60", 2, "°", core=altitude)


def _write_azimuth(place: BodyPlace, carried: Carried) -> Hand:
    hand = Hand(f"Azimuth of the {place.body.value}, {place.at:%Y-%m-%d %H:%M:%S} UTC", carried)
    found = solve_triangle(place.position.latitude_deg, place.declination_deg, place.lha_deg)
    hand.section(f"At {format_position(place.position)}")
    source = "nautical almanac, or by the program"
    hand.given("G", "hour angle of Greenwich, westward", place.gha_deg, 2, "°", source=source)
    hand.given("lam", f"longitude, {_EAST}", place.position.longitude_deg, 2, "°")
    turn = {-1: " + 360", 0: "", 1: " - 360"}[_turns(place.gha_deg + place.position.longitude_deg)]
    hand.line("t", "local hour angle, westward", f"G + lam{turn}", 2, "°", core=place.lha_deg)
    hand.given("phi", f"latitude, {_NORTH}", place.position.latitude_deg, 2, "°")
    hand.given("d", f"declination, {_NORTH}", place.declination_deg, 2, "°", source=source)
    hand.section("True azimuth")
    hand.line("E", "eastward side", "-cos(d) * sin(t)", 4)
    hand.line("N", "northward side", "sin(d) * cos(phi) - cos(d) * cos(t) * sin(phi)", 4)
    turned = wrap_180(found.azimuth_true_deg)
    direction = hand.line("a", "direction of the two", "atan2(E, N)", 1, "°", core=turned)
    whole, core = (" + 360", turned + 360.0) if direction < 0 else ("", turned)
    hand.line("Z", "true azimuth", f"a{whole}", 1, "°", core=core, kind=Kind.ANSWER)
    hand.line(
        "h", "altitude, for a check", "atan2(sin(d) * sin(phi) + cos(d) * cos(t) * cos(phi), hypot(E, N))", 1, "°"
    )
    hand.note(f"Azimuth angle as the tables give it: {found.words}.")
    if place.body is Body.SUN:
        hand.note(SUN_CAUTION)
    return hand


def _turns(angle_deg: float) -> int:
    return -1 if angle_deg < 0 else 1 if angle_deg >= 360 else 0


def _write_check(found: SunCheck, carried: Carried) -> Hand:
    hand = Hand(f"Compass check by the {found.sight.value}", carried)
    hand.given("Z", "true bearing of the sun", found.azimuth_true_deg, 1, "°")
    hand.given("R", f"read on the compass, {found.sight.value}", found.reading_deg, 1, "°", source="read")
    if found.sight is Sight.SHADOW:
        opposite = "R - 180" if found.reading_deg >= 180 else "R + 180"
        hand.line("C", "bearing of the sun by compass, opposite the shadow", opposite, 1, "°")
    else:
        hand.line("C", "bearing of the sun by compass", "R" if found.reading_deg < 360 else "R - 360", 1, "°")
    apart = found.azimuth_true_deg - found.bearing_compass_deg
    hand.line("E", f"error of the compass, {_EAST}", f"Z - C{_half_turn(apart)}", 1, "°", core=found.error_deg)
    hand.given("V", f"variation, {_EAST}", found.variation_deg, 1, "°")
    left = found.error_deg - found.variation_deg
    formula, around = f"E - V{_half_turn(left)}", f"{found.expanded_deg:.1f}"
    deviation = found.deviation_deg
    words = f"deviation on this heading, {_EAST}"
    hand.line("D", words, formula, 1, "°", core=deviation, kind=Kind.ANSWER, plus_minus=around)
    _write_budget(hand, found)
    hand.note(found.words)
    hand.note(SUN_CAUTION)
    return hand


def _write_budget(hand: Hand, found: SunCheck) -> None:
    hand.section("How well it is known")
    names = ("reading the card", "a sight or pin that leans", "the noted time", "variation")
    for number, (name, part) in enumerate(zip(names, found.u_parts_deg, strict=True), start=1):
        hand.given(f"u_{number}", f"standard uncertainty from {name}", part, 2, "°")
    hand.line("u", "together", "sqrt(u_1**2 + u_2**2 + u_3**2 + u_4**2)", 2, "°", core=found.u_deg)
    hand.line("U", "± at 95 %", f"{COVERAGE_FACTOR} * u", 1, "°", core=found.expanded_deg, kind=Kind.SHOWN)


def _half_turn(angle_deg: float) -> str:
    """Return what brings a difference within half a turn."""
    return " - 360" if angle_deg > 180 else " + 360" if angle_deg <= -180 else ""
