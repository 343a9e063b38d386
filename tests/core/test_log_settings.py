"""What is set in the log, and the change that a factor asks for."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from truemile.core.errors import ReadingError
from truemile.core.log_settings import Convention, LogSetting, reading_under, setting_for

PULSES, PERCENT, TIMES = Convention.PULSES_PER_NM, Convention.PERCENT, Convention.MULTIPLIER


@given(
    factor=st.floats(0.6, 1.8),
    current=st.sampled_from([LogSetting(TIMES, 1.1), LogSetting(PERCENT, -4.0), LogSetting(PULSES, 20000.0)]),
    raw=st.floats(1.0, 9.0),
)
def test_the_new_setting_makes_the_log_read_true(factor: float, current: LogSetting, raw: float) -> None:
    """What the paddle counts, shown with the new setting, is the true speed, but for the rounding of the setting."""
    shown = raw * current.scale
    true = factor * shown
    new = setting_for(factor, current, step=1e-9 if current.convention is TIMES else None)
    after = reading_under(shown, current, new.setting)
    assert after * new.leftover_factor == pytest.approx(true, rel=1e-9)


def test_a_log_that_reads_high_gets_a_smaller_multiplier_and_more_pulses() -> None:
    """Fewer pulses to the mile make a log read more (common practice, no source)."""
    assert setting_for(0.93, LogSetting(TIMES, 1.0)).setting.value == pytest.approx(0.93)
    assert setting_for(0.93, LogSetting(PERCENT, 0.0)).setting.value == pytest.approx(-7.0)
    assert setting_for(0.93, LogSetting(PULSES, 20000.0)).setting.value == pytest.approx(21505.0)


def test_a_reading_is_compared_only_within_one_convention() -> None:
    """An unknown setting cannot be undone; the remedy says what to note."""
    with pytest.raises(ReadingError, match=r"setting is '× 1\.100'.*20000 pulses per mile.*Note what was set"):
        reading_under(6.0, LogSetting(TIMES, 1.1), LogSetting(PULSES, 20000.0))
    with pytest.raises(ReadingError, match=r"setting is missing.*measured with × 1\.100.*at the time of the reading"):
        reading_under(6.0, None, LogSetting(TIMES, 1.1))
    with pytest.raises(ReadingError, match=r"setting is '× 1\.100'.*no setting noted.*during the trial"):
        reading_under(6.0, LogSetting(TIMES, 1.1), None)
    assert reading_under(6.0, None, None) == 6.0


@pytest.mark.parametrize(
    ("convention", "value"), [(TIMES, 0.0), (TIMES, float("nan")), (PERCENT, -100.0), (PULSES, 1.0)]
)
def test_a_setting_that_no_log_can_hold_is_refused(convention: Convention, value: float) -> None:
    """The remedy says to read it again and to check the convention."""
    with pytest.raises(ReadingError, match=r"setting is .*lies between.*which convention"):
        LogSetting(convention, value)


def test_a_step_of_nothing_is_refused() -> None:
    """A menu has a smallest change."""
    with pytest.raises(ReadingError, match="step is 0"):
        setting_for(1.0, LogSetting(TIMES, 1.0), step=0.0)


def test_settings_print_as_in_the_menu() -> None:
    """Multiplier, signed percent, whole pulses."""
    assert [str(s) for s in (LogSetting(TIMES, 1.1), LogSetting(PERCENT, -4.0), LogSetting(PULSES, 20000.0))] == [
        "× 1.100",
        "-4.0 %",
        "20000 pulses per mile",
    ]
