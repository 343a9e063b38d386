"""What there is to say about a fitted deviation curve, and what keeps it from being put in force."""

from __future__ import annotations

import math
from typing import Final

from truemile.core.angles import difference
from truemile.core.deviation_curve import LETTERS, DeviationCurve
from truemile.core.deviation_fit import DeviationFit, Form, Residual
from truemile.core.factor_remarks import Remark

#: Residual deviation that a flag state allows ships [MI2011]_; no yacht is bound by it.
BORROWED_LIMIT_DEG: Final = 5.0
#: A coefficient this many times less certain than on equally spaced headings is remarked on.
UNEVEN: Final = 1.5
#: And from here on the curve is refused; half a circle has 7.
BUNCHED: Final = 3.0
#: Eight headings are usual; so many are needed for a sober judgement of the scatter.
USUAL_HEADINGS: Final = 8
#: A curve known no better than this is little help.
VAGUE_DEG: Final = 3.0


def remarks_on_fit(fit: DeviationFit) -> tuple[Remark, ...]:
    """Return the remarks on a fit, cautions first."""
    found = [*_spread_remarks(fit), *_outlier_remarks(fit), *_size_remarks(fit), *_form_remarks(fit)]
    return tuple(sorted(found, key=lambda remark: remark.level != "caution"))


def refusals_of_fit(fit: DeviationFit) -> tuple[Remark, ...]:
    """Return what keeps a curve from being put in force; nothing for a good one."""
    found = [remark for remark in _spread_remarks(fit) if remark.about == "bunched headings"]
    if fit.dof == 0 and fit.curve.covariance is None:
        found.append(
            _caution(
                "headings",
                "Five readings fit any five coefficients, so nothing shows whether they are right.",
                "Take three headings more.",
            )
        )
    found += uniqueness_remarks(fit.curve)
    return tuple(found)


def uniqueness_remarks(curve: DeviationCurve) -> tuple[Remark, ...]:
    """Return a caution if some magnetic heading has more than one compass heading."""
    if curve.is_unique:
        return ()
    return (
        _caution(
            "directive force",
            "On some headings the card turns with the boat: one magnetic course has several compass headings there.",
            "Have the compass moved or adjusted before any curve is used.",
        ),
    )


def _spread_remarks(fit: DeviationFit) -> list[Remark]:
    spread, found = fit.spread, []
    worst = max(spread.inflation)
    gap = f"nothing between {spread.gap_from_deg:03.0f} and {spread.gap_to_deg:03.0f}"
    if worst > BUNCHED:
        letters = [x for x, value in zip(LETTERS, spread.inflation, strict=True) if value > BUNCHED]
        found.append(
            _caution(
                "bunched headings",
                f"The headings are bunched, {gap}: {' and '.join(letters)} {'is' if len(letters) == 1 else 'are'}"
                f" up to {worst:.0f} times less certain than on headings spread all round.",
                "Add headings in the gap.",
            )
        )
    elif worst > UNEVEN:
        found.append(_caution("headings", f"The headings are uneven, {gap}.", "Add a heading or two in the gap."))
    if len(fit.residuals) < USUAL_HEADINGS and fit.dof > 0:
        found.append(
            Remark(
                "note",
                "headings",
                f"{len(fit.residuals)} readings leave {fit.dof} to judge the scatter by, and a wide ±.",
                "Eight headings are usual, sixteen are better.",
            )
        )
    return found


def _outlier_remarks(fit: DeviationFit) -> list[Remark]:
    marked = sorted(fit.outliers, key=lambda each: -abs(each.residual_deg))
    return [
        _caution("residuals", _outlier_words(each), "Take that heading again; leave the reading out only for a cause.")
        for each in marked[:3]
    ]


def _outlier_words(each: Residual) -> str:
    heading = f"On {each.observed.heading_compass_deg:03.0f}"
    if each.stands_out:
        return f"{heading} the deviation lies {abs(each.misses_deg):.1f}° from what all the other readings give."
    return f"{heading} the deviation lies {abs(each.residual_deg):.1f}° off the curve, more than twice the scatter."


def _size_remarks(fit: DeviationFit) -> list[Remark]:
    heading, deviation = fit.curve.largest
    found = []
    if abs(deviation) > BORROWED_LIMIT_DEG:
        found.append(
            _caution(
                "size",
                f"The deviation reaches {east_west(deviation)} on {heading:03.0f}. Ships are held to"
                f" {BORROWED_LIMIT_DEG:g}°; no yacht is bound by that, and it is borrowed here as a bar.",
                "Look for iron, loudspeakers or wires near the compass, and think of a licensed compass adjuster.",
            )
        )
    around = [fit.curve.expanded_deg(float(z)) for z in range(0, 360, 15)]
    known = [each for each in around if each is not None]
    if known and max(known) > VAGUE_DEG:
        found.append(
            _caution(
                "uncertainty",
                f"The curve is known to ± {max(known):.0f}° only, where it is known least.",
                "Take more headings, or better readings on each.",
            )
        )
    return found


def _form_remarks(fit: DeviationFit) -> list[Remark]:
    size = abs(fit.curve.largest[1])
    if fit.form is Form.EXACT:
        return [
            Remark(
                "note",
                "form",
                "A deviation is beyond 20°, so the exact form of the curve is used.",
                "Its coefficients are pure numbers; the angles beside them are for comparison with the usual ones.",
            )
        ]
    own = form_error_deg(size)
    if own < max(0.25, 0.0 if math.isnan(fit.residual_sd_deg) else fit.residual_sd_deg):
        return []
    words = f"With deviations of {size:.0f}° the approximate form is itself out by up to about {own:.1f}°."
    return [Remark("note", "form", words, "Fit the exact form and compare.")]


def form_error_deg(largest_deviation_deg: float) -> float:
    """Return about how much the approximate form is out for a largest deviation.

    Notes
    -----
    It grows as the square, from 10′ at 7° to 1° 30′ at 21° [Manual1875]_.

    Examples
    --------
    >>> round(form_error_deg(7.0) * 60), round(form_error_deg(21.0) * 60)
    (10, 90)
    """
    return (largest_deviation_deg / 21.0) ** 2 * 1.5


def east_west(angle_deg: float, decimals: int = 1) -> str:
    """Write a deviation or a variation with its name, not its sign.

    Examples
    --------
    >>> east_west(-12.0, 0), east_west(3.04), east_west(-0.04)
    ('12° W', '3.0° E', '0.0°')
    """
    signed = difference(angle_deg, 0.0)
    text = f"{abs(signed):.{decimals}f}°"
    if float(text[:-1]) == 0.0:
        return text
    return f"{text} {'E' if signed > 0 else 'W'}"


def _caution(about: str, words: str, remedy: str) -> Remark:
    return Remark("caution", about, words, remedy)
