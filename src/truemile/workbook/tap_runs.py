"""Taps of a capture page, and the run that they make: a matter of which taps there are, not of how they arrived."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta
from typing import Final

from truemile.core.errors import NavigationError, ReadingError
from truemile.core.log_runs import Direction
from truemile.core.numbers import parse_number
from truemile.workbook.entries import Raw, ReadRun, RunEntry
from truemile.workbook.kinds import ReadingKind, TapKind
from truemile.workbook.typed import Entry, Faults, Text, choice, identity, needed, short

#: The page that times runs.
RUN_PAGE: Final = "run"
#: Clocks and their offsets are believed between 1970 and 2198.
_LATEST_MS: Final = 7.2e12
#: A phone's clock that moved by more than this and its uncertainty was put right in between.
_STEP_MS: Final = 500.0

#: Which reading of a run a tap is, and the box of the run's form it fills; of these the one pressed last counts.
_SINGLE: Final = {
    TapKind.LOG_START: (ReadingKind.LOG_START, "log_start"),
    TapKind.LOG_STOP: (ReadingKind.LOG_STOP, "log_stop"),
    TapKind.RPM: (ReadingKind.RPM, "rpm"),
    TapKind.COMPASS: (ReadingKind.HEADING_COMPASS, "heading_compass"),
}


@dataclass(frozen=True, slots=True)
class Tap:
    """One press or reading as it came: the value as shown, and the phone's own clock at the press.

    Attributes
    ----------
    device_id
        Which clock: the page's own id of the browser that it runs in.
    pressed_at_ms
        That clock, in milliseconds from 1970.
    clock_offset_ms, clock_offset_u_ms
        What must be added for UTC, with its standard uncertainty; None if the page could not compare clocks.
    by
        Who pressed.
    """

    id: str
    device_id: str
    page: str
    trial_id: int
    run_id: str
    kind: TapKind
    value: str
    pressed_at_ms: float
    device_name: str = ""
    clock_offset_ms: float | None = None
    clock_offset_u_ms: float | None = None
    by: str = ""

    @property
    def content(self) -> tuple[object, ...]:
        """What makes it the same tap when it is sent again; a page may come to know its clock better meanwhile."""
        return (
            self.device_id,
            self.page,
            self.trial_id,
            self.run_id,
            self.kind,
            self.value,
            self.pressed_at_ms,
            self.by,
        )


class TapEntry(Entry):
    """A tap as a page sends it."""

    id: Text = None
    device_id: Text = None
    device_name: Text = None
    page: Text = None
    trial_id: Text = None
    run_id: Text = None
    kind: Text = None
    value: Text = None
    pressed_at_ms: Text = None
    clock_offset_ms: Text = None
    clock_offset_u_ms: Text = None
    by: Text = None

    def read(self) -> Tap:
        """Return the tap; what its value means is looked at when the run is put together, so that none is lost.

        Raises
        ------
        ReadingError
            Or `ManyFaults`, if it cannot be kept.
        """
        faults = Faults()
        tap_id = faults.take(lambda: identity(_given(self.id, "id")), None)
        run_id = faults.take(lambda: identity(_given(self.run_id, "run_id"), "run_id"), None)
        device_id = faults.take(lambda: short(_given(self.device_id, "device_id"), "device_id", 60), None)
        trial_id = faults.take(lambda: _whole(_given(self.trial_id, "trial_id"), "trial_id"), None)
        kind = faults.take(lambda: _kind(_given(self.kind, "kind")), None)
        words = {
            field: faults.take(lambda field=field, most=most: short(getattr(self, field), field, most), "")  # type: ignore[misc]
            for field, most in (("device_name", 120), ("page", 20), ("value", 4000), ("by", 120))
        }
        pressed = faults.take(lambda: _ms(_given(self.pressed_at_ms, "pressed_at_ms"), "pressed_at_ms", 0.0), None)
        offset = faults.take(lambda: _maybe_ms(self.clock_offset_ms, "clock_offset_ms", -_LATEST_MS), None)
        u_offset = faults.take(lambda: _maybe_ms(self.clock_offset_u_ms, "clock_offset_u_ms", 0.0), None)
        at = faults.sure(pressed)
        faults.take(lambda: _ms(str(at + (offset or 0.0)), "clock_offset_ms", 0.0), None)
        return Tap(
            faults.sure(tap_id),
            faults.sure(device_id),
            words["page"] or RUN_PAGE,
            faults.sure(trial_id),
            faults.sure(run_id),
            faults.sure(kind),
            words["value"],
            at,
            words["device_name"],
            offset,
            u_offset,
            words["by"],
        )


@dataclass(frozen=True, slots=True)
class TapRun:
    """The run that taps make, as far as it has come.

    Attributes
    ----------
    taps
        Those that count, in the order pressed.
    kept, dropped
        Whether it was said to be whole, or void.
    direction, speed_group, started_at, stopped_at, elapsed_s, speeds
        What is known of it so far, for a page that opens again.
    entry
        The run as a form filled in; None while something is missing or cannot be.
    read
        The same as understood, each reading with its tap's id, instant and reader.
    reasons
        What is missing or cannot be.
    """

    run_id: str
    trial_id: int
    taps: tuple[Tap, ...]
    kept: bool
    dropped: bool
    direction: Direction | None
    speed_group: str
    started_at: datetime | None
    stopped_at: datetime | None
    elapsed_s: float | None
    speeds: tuple[str, ...]
    entry: RunEntry | None
    read: ReadRun | None
    reasons: tuple[NavigationError, ...]

    @property
    def whole(self) -> bool:
        """True where it can be kept as a run."""
        return self.read is not None


def assemble_run(taps: Sequence[Tap]) -> TapRun:
    """Return the run that the taps of one run make, in whatever order they came and however often.

    Notes
    -----
    The last start counts, with the first stop after it. Times of one phone are subtracted as its own clock gave them;
    between two phones each clock is put right first. Of direction, engine speed, counter, compass and roles what was
    said last counts.

    Raises
    ------
    ReadingError
        If there is no tap, or they are of several runs.
    """
    _check_one_run(taps)
    clocks = _Clocks(taps)
    ordered = sorted({tap.id: tap for tap in taps}.values(), key=lambda tap: (clocks.utc_ms(tap), tap.id))
    counting = _counting(ordered)
    last = {tap.kind: tap for tap in counting}
    start, stop = _marks(counting)
    faults = Faults()
    elapsed_s, clock_words = faults.take(lambda: clocks.elapsed(start, stop), (None, ""))
    direction = faults.take(lambda: _direction(last.get(TapKind.DIRECTION)), None)
    speeds = [tap for tap in counting if tap.kind is TapKind.SPEED]
    for tap in speeds:
        # Each by itself: a decimal comma beside a decimal point would pass for a separator.
        faults.take(lambda tap=tap: parse_number(tap.value, "readings"), None)  # type: ignore[misc]
    entry = _entry(counting, last, clocks.utc(start), elapsed_s, clock_words)
    read = None if faults.found else faults.take(lambda: _read(entry, counting, last, clocks), None)
    ends = [tap for tap in counting if tap.kind in {TapKind.KEEP, TapKind.DROP}]
    return TapRun(
        run_id=taps[0].run_id,
        trial_id=taps[0].trial_id,
        taps=tuple(counting),
        kept=bool(ends) and ends[-1].kind is TapKind.KEEP,
        dropped=bool(ends) and ends[-1].kind is TapKind.DROP,
        direction=direction,
        speed_group=entry.speed_group or "",
        started_at=clocks.utc(start),
        stopped_at=clocks.utc(stop),
        elapsed_s=elapsed_s,
        speeds=tuple(tap.value for tap in speeds),
        entry=None if read is None else entry,
        read=read,
        reasons=tuple(faults.found),
    )


class _Clocks:
    """The clocks of the phones that the taps of a run came from."""

    def __init__(self, taps: Sequence[Tap]) -> None:
        self._compared: dict[str, list[Tap]] = {}
        for tap in taps:
            if tap.clock_offset_ms is not None:
                self._compared.setdefault(tap.device_id, []).append(tap)

    def offset(self, tap: Tap) -> tuple[float, float] | None:
        """Offset and uncertainty for a tap: its own, or of the tap of its phone that is nearest in time."""
        known = self._compared.get(tap.device_id, ())
        if not known:
            return None
        near = min(known, key=lambda other: (abs(other.pressed_at_ms - tap.pressed_at_ms), other.id))
        chosen = near if tap.clock_offset_ms is None else tap
        return chosen.clock_offset_ms or 0.0, chosen.clock_offset_u_ms or 0.0

    def utc_ms(self, tap: Tap) -> float:
        """UTC of a tap; a phone that was never compared is believed."""
        offset = self.offset(tap)
        return tap.pressed_at_ms + (0.0 if offset is None else offset[0])

    def utc(self, tap: Tap | None) -> datetime | None:
        """The same as an instant, to a millisecond."""
        if tap is None:
            return None
        return datetime.fromtimestamp(0, UTC) + timedelta(milliseconds=round(self.utc_ms(tap)))

    def elapsed(self, start: Tap | None, stop: Tap | None) -> tuple[float, str]:
        """Seconds from start to stop, and a word about the clocks where more than one had a part in it."""
        if start is None or stop is None:
            word = "start" if start is None else "stop"
            raise ReadingError(word, None, f"the {word} was not pressed", "Press it when the mark is abeam.")
        first, last = self.offset(start), self.offset(stop)
        by_phone = (stop.pressed_at_ms - start.pressed_at_ms) / 1000.0
        if start.device_id == stop.device_id:
            step = 0.0 if first is None or last is None else last[0] - first[0]
            u_step = 0.0 if first is None or last is None else math.hypot(first[1], last[1])
            if abs(step) <= _STEP_MS + 3.0 * u_step:
                return by_phone, ""
            change = f"{-step / 1000.0:+.1f}".replace("-", "\N{MINUS SIGN}")
            return by_phone + step / 1000.0, f"The phone's clock was changed by {change} s during the run."
        if first is None or last is None:
            raise ReadingError(
                "stop",
                stop.device_name or "another phone",
                "start and stop are of two phones whose clocks were never compared",
                "Press start and stop on one phone, or enter the run from the watch.",
            )
        u_s = math.hypot(first[1], last[1]) / 1000.0
        words = f"Started on one phone and stopped on another, clocks alike within {2 * u_s:.2f} s."
        return (self.utc_ms(stop) - self.utc_ms(start)) / 1000.0, words


def _check_one_run(taps: Sequence[Tap]) -> None:
    runs = {(tap.trial_id, tap.run_id) for tap in taps}
    if len(runs) != 1:
        raise ReadingError("taps", f"of {len(runs)} runs", "they must be of one run", "Put them together run by run.")


def _counting(ordered: Sequence[Tap]) -> list[Tap]:
    """Return the taps that nobody struck out; a strike may itself be struck out by a later one."""
    struck: set[str] = set()
    for tap in reversed(ordered):
        if tap.kind is TapKind.STRIKE and tap.id not in struck:
            struck.add(tap.value.lower())
    return [tap for tap in ordered if tap.kind is not TapKind.STRIKE and tap.id not in struck]


def _marks(counting: Sequence[Tap]) -> tuple[Tap | None, Tap | None]:
    starts = [place for place, tap in enumerate(counting) if tap.kind is TapKind.START]
    if not starts:
        return None, None
    after = counting[starts[-1] :]
    return after[0], next((tap for tap in after if tap.kind is TapKind.STOP), None)


def _direction(tap: Tap | None) -> Direction:
    if tap is None:
        raise ReadingError("direction", None, "it is not said which way the run went", "Choose out or back.")
    return choice(tap.value or None, "direction", Direction)


def _entry(
    counting: Sequence[Tap],
    last: Mapping[TapKind, Tap],
    started_at: datetime | None,
    elapsed_s: float | None,
    clock_words: str,
) -> RunEntry:
    said = {kind: tap.value for kind, tap in last.items() if tap.value}
    remarks = [tap.value for tap in counting if tap.kind is TapKind.REMARK and tap.value]
    return RunEntry(
        id=counting[0].run_id if counting else None,
        direction=said.get(TapKind.DIRECTION),
        elapsed=None if elapsed_s is None else f"{elapsed_s:.3f} s",
        started_at=None if started_at is None else started_at.isoformat(),
        readings=" ".join(tap.value.replace(",", ".") for tap in counting if tap.kind is TapKind.SPEED) or None,
        speed_group=said.get(TapKind.GROUP),
        noted_by=said.get(TapKind.NOTED_BY) or _who(last.get(TapKind.KEEP)),
        timed_by=said.get(TapKind.TIMED_BY) or _who(last.get(TapKind.START)),
        helm=said.get(TapKind.HELM),
        remarks=" ".join([*remarks, *([clock_words] if clock_words else [])]) or None,
        **{column: said.get(kind) for kind, (_, column) in _SINGLE.items()},
    )


def _who(tap: Tap | None) -> str | None:
    return tap.by or None if tap is not None else None


def _read(entry: RunEntry, counting: Sequence[Tap], last: Mapping[TapKind, Tap], clocks: _Clocks) -> ReadRun:
    """Return the run as understood, each reading with the tap it came from."""
    read = entry.read()
    speeds = iter(tap for tap in counting if tap.kind is TapKind.SPEED)
    single = {reading: last.get(kind) for kind, (reading, _) in _SINGLE.items()}
    single[ReadingKind.MARK_START] = last.get(TapKind.START)
    raws: list[Raw] = []
    for raw in read.raw:
        tap = next(speeds, None) if raw.kind is ReadingKind.SPEED else single.get(raw.kind)
        if tap is None:
            raws.append(replace(raw, id=raw.kind.value))
        else:
            typed = raw.typed if raw.kind is ReadingKind.MARK_START else tap.value
            who = tap.by or read.noted_by
            raws.append(replace(raw, typed=typed, id=tap.id, taken_at=clocks.utc(tap), noted_by=who))
    return replace(read, raw=tuple(raws))


def _given(text: str | None, field: str) -> str:
    return needed(text, field, "The capture page fills it in; load the page again.")


def _kind(text: str) -> TapKind:
    try:
        return TapKind(text)
    except ValueError:
        raise ReadingError(
            "kind", text, f"a tap is one of {', '.join(TapKind)}", "Load the capture page again: it may be older."
        ) from None


def _whole(text: str, field: str) -> int:
    if not (text.isascii() and text.isdigit() and len(text) <= 9):
        raise ReadingError(field, text, "it is the number of a trial", "Open the page from the trial again.")
    return int(text)


def _maybe_ms(text: str | None, field: str, low: float) -> float | None:
    return None if text is None else _ms(text, field, low)


def _ms(text: str, field: str, low: float) -> float:
    try:
        value = float(text)
    except ValueError:
        value = math.nan
    if not low <= value <= _LATEST_MS:
        raise ReadingError(
            field, text, "it is a time in milliseconds from 1970 on", "Put the phone's clock right and load the page."
        )
    return value
