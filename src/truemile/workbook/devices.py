"""The crew's phones: joined by a short code that the laptop shows, known by a token, shut out at once."""

from __future__ import annotations

import hashlib
import hmac
import secrets
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Final

import sqlalchemy as sa
from sqlalchemy.orm import Session

from truemile.core.errors import NotFound, ReadingError
from truemile.workbook import journal
from truemile.workbook.schema import Device, JoinCodeRow, Journal, TapRow
from truemile.workbook.store import Workbook
from truemile.workbook.typed import Faults, needed, short

#: Letters and digits that are not mistaken for one another, by eye or over the engine.
ALPHABET: Final = "ACDEFGHJKMNPQRTUVWXY34679"
CODE_LENGTH: Final = 6
#: How long a code serves; one code serves several phones.
CODE_LASTS: Final = timedelta(minutes=10)
#: A code that was guessed at so often is void: the chance to hit one of 25⁶ is then below one in ten million.
MOST_WRONG: Final = 20
_TOKEN_BYTES: Final = 32
_LONGEST_NAME: Final = 60


@dataclass(frozen=True, slots=True)
class JoinCode:
    """A code that counts, to be shown on the laptop only."""

    code: str
    expires_at: datetime


@dataclass(frozen=True, slots=True)
class DeviceView:
    """A phone of the crew.

    Attributes
    ----------
    taps, last_tap_at
        How many taps it sent, and when the last arrived.
    revoked
        True once it was shut out.
    """

    id: int
    name: str
    joined_at: datetime
    taps: int
    last_tap_at: datetime | None
    revoked: bool
    entry_id: int


@dataclass(frozen=True, slots=True)
class Joined:
    """A phone that has joined, with the token that it keeps; the token is nowhere else."""

    device: DeviceView
    token: str


def new_join_code(wb: Workbook, at: datetime | None = None, *, author: str | None = None) -> JoinCode:
    """Make a code by which phones can join for ten minutes; an earlier one is void from now on."""
    code = "".join(secrets.choice(ALPHABET) for _ in range(CODE_LENGTH))
    with wb.writing() as session:
        now = wb.at(at)
        written = journal.note(session, wb, "make join code", ("join_codes", ""), "Code for phones", author=author)
        row = JoinCodeRow(code=code, made_at=now, expires_at=now + CODE_LASTS, wrong_tries=0, entry_id=written.id)
        journal.keep(session, written, row)
        return JoinCode(code, row.expires_at)


def join_code(wb: Workbook, at: datetime | None = None) -> JoinCode | None:
    """Return the code that counts now, or None."""
    with wb.reading() as session:
        row = _active(session, wb.at(at))
        return None if row is None else JoinCode(row.code, row.expires_at)


def join(wb: Workbook, code: str | None, name: str | None, at: datetime | None = None) -> Joined:
    """Let a phone join.

    Returns
    -------
    Joined
        With a token of 256 bits, of which the workbook keeps the SHA-256 only.

    Raises
    ------
    ReadingError
        If the code is wrong or no longer counts (which of the two is not told), or the name is missing.
    """
    faults = Faults()
    given = faults.take(lambda: short(needed(code, "code", "Read it from the laptop."), "code", 60), "")
    called = faults.take(lambda: _name(name), "")
    faults.done()
    token = secrets.token_urlsafe(_TOKEN_BYTES)
    with wb.writing() as session:
        now = wb.at(at)
        row = _active(session, now)
        joined = None
        if row is not None and hmac.compare_digest(row.code.encode(), _spelled(given).encode()):
            joined = _joined(session, wb, row, called, token, now)
        elif row is not None:
            _count_wrong(session, wb, row)
    if joined is None:
        # Raised only now, so that the wrong try has been counted.
        raise ReadingError(
            "code",
            "as typed",
            "that code is wrong, or no longer counts",
            "Read it from the laptop again, or ask for a new one there.",
        )
    return Joined(joined, token)


def device_for(wb: Workbook, token: str | None, at: datetime | None = None) -> DeviceView | None:  # noqa: ARG001
    """Return the phone that a token belongs to, or None for a token that is unknown or was shut out.

    Parameters
    ----------
    at
        When it is asked; a phone stays joined until it is shut out.
    """
    if not token or len(token) > 200:
        return None
    with wb.reading() as session:
        row = session.scalars(journal.standing(Device).where(Device.token_hash == _hash(token))).first()
        return None if row is None else _view(session, row)


def devices(wb: Workbook, *, revoked: bool = False) -> tuple[DeviceView, ...]:
    """Return the phones that have joined, oldest first; those shut out too if asked for."""
    with wb.reading() as session:
        query = sa.select(Device) if revoked else journal.standing(Device)
        return tuple(_view(session, row) for row in session.scalars(query.order_by(Device.id)))


def revoke(wb: Workbook, device_id: int, *, author: str | None = None, reason: str = "shut out") -> DeviceView:
    """Shut a phone out, from its very next request on; what it sent stays.

    Raises
    ------
    NotFound
        If there is no such phone.
    ReadingError
        If it is shut out already.
    """
    with wb.writing() as session:
        row = session.get(Device, device_id)
        if row is None:
            raise NotFound("device", device_id, "there is no phone of that number", "Look at the list of phones.")
        journal.undo_within(session, wb, session.get_one(Journal, row.entry_id), author=author, reason=reason)
        return _view(session, row)


def _active(session: Session, now: datetime) -> JoinCodeRow | None:
    """Return the newest code if it still counts."""
    row = session.scalars(journal.standing(JoinCodeRow).order_by(JoinCodeRow.id.desc())).first()
    if row is None or not row.made_at <= now < row.expires_at or row.wrong_tries >= MOST_WRONG:
        return None
    return row


def _count_wrong(session: Session, wb: Workbook, row: JoinCodeRow) -> None:
    row.wrong_tries += 1
    if row.wrong_tries == MOST_WRONG:
        words = f"Code for phones void after {MOST_WRONG} wrong tries"
        journal.note(session, wb, "void join code", ("join_codes", row.id), words)
    session.flush()


def _joined(session: Session, wb: Workbook, code: JoinCodeRow, name: str, token: str, now: datetime) -> DeviceView:
    written = journal.note(session, wb, "join", ("devices", ""), f"Phone of {name} joined", author=name)
    row = Device(name=name, token_hash=_hash(token), joined_at=now, code_id=code.id, entry_id=written.id)
    journal.keep(session, written, row)
    return _view(session, row)


def _name(name: str | None) -> str:
    words = " ".join(needed(name, "name", "Give the name of who uses this phone.").split())
    if not words.isprintable():
        raise ReadingError("name", name, "it has letters that cannot be shown", "Write it in plain letters.")
    return needed(short(words, "name", _LONGEST_NAME) or None, "name", "Give the name of who uses this phone.")


def _spelled(code: str) -> str:
    """Return a code as it is made: capitals, without the spaces and dashes that people put in."""
    return "".join(letter for letter in code.upper() if letter not in " -\u2013\u2014\u00a0\t")


def _hash(token: str) -> str:
    return hashlib.sha256(token.encode()).hexdigest()


def _view(session: Session, row: Device) -> DeviceView:
    count, last = session.execute(
        sa.select(sa.func.count(), sa.func.max(TapRow.received_at)).where(TapRow.sent_by == row.id)
    ).one()
    revoked = not journal.stands(session, row)
    return DeviceView(row.id, row.name, row.joined_at, count, last, revoked, row.entry_id)
