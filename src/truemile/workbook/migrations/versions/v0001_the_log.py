"""The log: boats, instruments, courses, trials, readings, corrections and the journal."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0001"
down_revision = None
branch_labels = None
depends_on = None

#: In the order in which they can be made.
TABLES = (
    "journal",
    "boats",
    "marks",
    "courses",
    "instruments",
    "ship_times",
    "settings",
    "trials",
    "corrections",
    "runs",
    "trial_details",
    "readings",
)
#: Rows of these are facts; the journal itself may only turn an entry off and on.
FACTS = tuple(table for table in TABLES if table != "journal")
WRITTEN_ONCE = ("id", "at", "author", "action", "subject", "summary", "detail", "undoes_id")
WORDS = "a fact is kept as it was entered; undo its journal entry instead"


def upgrade() -> None:
    op.create_table(
        "journal",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("author", sa.String(length=120), nullable=False),
        sa.Column("action", sa.String(length=40), nullable=False),
        sa.Column("subject", sa.String(length=40), nullable=False),
        sa.Column("subject_id", sa.String(length=40), nullable=False),
        sa.Column("summary", sa.Text(), nullable=False),
        sa.Column("detail", sa.JSON(), nullable=False),
        sa.Column("undoes_id", sa.Integer(), nullable=True),
        sa.Column("standing", sa.Boolean(), nullable=False),
        sa.ForeignKeyConstraint(["undoes_id"], ["journal.id"], name=op.f("fk_journal_undoes_id_journal")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_journal")),
    )
    with op.batch_alter_table("journal", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_journal_undoes_id"), ["undoes_id"], unique=False)

    op.create_table(
        "boats",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("name", sa.String(length=120), nullable=False),
        sa.Column("description", sa.Text(), nullable=False),
        sa.Column("length_m", sa.Double(), nullable=True),
        sa.Column("draught_m", sa.Double(), nullable=True),
        sa.Column("air_draft_m", sa.Double(), nullable=True),
        sa.Column("demo", sa.Boolean(), nullable=False),
        sa.Column("entry_id", sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint(["entry_id"], ["journal.id"], name=op.f("fk_boats_entry_id_journal")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_boats")),
    )
    with op.batch_alter_table("boats", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_boats_entry_id"), ["entry_id"], unique=False)

    op.create_table(
        "marks",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("name", sa.String(length=120), nullable=False),
        sa.Column("latitude_deg", sa.Double(), nullable=False),
        sa.Column("longitude_deg", sa.Double(), nullable=False),
        sa.Column("position_typed", sa.Text(), nullable=False),
        sa.Column("u_m", sa.Double(), nullable=False),
        sa.Column("fixed", sa.Boolean(), nullable=False),
        sa.Column("source", sa.Text(), nullable=False),
        sa.Column("checked_on", sa.Date(), nullable=True),
        sa.Column("remarks", sa.Text(), nullable=False),
        sa.Column("entry_id", sa.Integer(), nullable=False),
        sa.CheckConstraint("latitude_deg BETWEEN -90 AND 90", name=op.f("ck_marks_latitude")),
        sa.CheckConstraint("longitude_deg BETWEEN -180 AND 180", name=op.f("ck_marks_longitude")),
        sa.CheckConstraint("u_m > 0", name=op.f("ck_marks_precision")),
        sa.ForeignKeyConstraint(["entry_id"], ["journal.id"], name=op.f("fk_marks_entry_id_journal")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_marks")),
    )
    with op.batch_alter_table("marks", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_marks_entry_id"), ["entry_id"], unique=False)

    op.create_table(
        "courses",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("name", sa.String(length=120), nullable=False),
        sa.Column("start_id", sa.Integer(), nullable=True),
        sa.Column("end_id", sa.Integer(), nullable=True),
        sa.Column("length_nm", sa.Double(), nullable=True),
        sa.Column("precision_nm", sa.Double(), nullable=True),
        sa.Column("course_true_deg", sa.Double(), nullable=True),
        sa.Column("transits", sa.Boolean(), nullable=False),
        sa.Column("remarks", sa.Text(), nullable=False),
        sa.Column("entry_id", sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint(["end_id"], ["marks.id"], name=op.f("fk_courses_end_id_marks")),
        sa.ForeignKeyConstraint(["entry_id"], ["journal.id"], name=op.f("fk_courses_entry_id_journal")),
        sa.ForeignKeyConstraint(["start_id"], ["marks.id"], name=op.f("fk_courses_start_id_marks")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_courses")),
    )
    with op.batch_alter_table("courses", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_courses_end_id"), ["end_id"], unique=False)
        batch_op.create_index(batch_op.f("ix_courses_entry_id"), ["entry_id"], unique=False)
        batch_op.create_index(batch_op.f("ix_courses_start_id"), ["start_id"], unique=False)

    op.create_table(
        "instruments",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("boat_id", sa.Integer(), nullable=False),
        sa.Column("name", sa.String(length=120), nullable=False),
        sa.Column("kind", sa.Enum("log", name="kind", native_enum=False, create_constraint=True), nullable=False),
        sa.Column("speed_resolution_kn", sa.Double(), nullable=False),
        sa.Column("distance_resolution_nm", sa.Double(), nullable=False),
        sa.Column(
            "convention",
            sa.Enum(
                "multiplier", "percent", "pulses per mile", name="convention", native_enum=False, create_constraint=True
            ),
            nullable=True,
        ),
        sa.Column("setting_step", sa.Double(), nullable=True),
        sa.Column("remarks", sa.Text(), nullable=False),
        sa.Column("entry_id", sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint(["boat_id"], ["boats.id"], name=op.f("fk_instruments_boat_id_boats")),
        sa.ForeignKeyConstraint(["entry_id"], ["journal.id"], name=op.f("fk_instruments_entry_id_journal")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_instruments")),
    )
    with op.batch_alter_table("instruments", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_instruments_boat_id"), ["boat_id"], unique=False)
        batch_op.create_index(batch_op.f("ix_instruments_entry_id"), ["entry_id"], unique=False)

    op.create_table(
        "ship_times",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("boat_id", sa.Integer(), nullable=False),
        sa.Column("utc_offset_min", sa.Integer(), nullable=False),
        sa.Column("valid_from", sa.DateTime(timezone=True), nullable=False),
        sa.Column("entry_id", sa.Integer(), nullable=False),
        sa.CheckConstraint("utc_offset_min BETWEEN -720 AND 840", name=op.f("ck_ship_times_offset")),
        sa.ForeignKeyConstraint(["boat_id"], ["boats.id"], name=op.f("fk_ship_times_boat_id_boats")),
        sa.ForeignKeyConstraint(["entry_id"], ["journal.id"], name=op.f("fk_ship_times_entry_id_journal")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_ship_times")),
    )
    with op.batch_alter_table("ship_times", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_ship_times_boat_id"), ["boat_id"], unique=False)
        batch_op.create_index(batch_op.f("ix_ship_times_entry_id"), ["entry_id"], unique=False)

    op.create_table(
        "settings",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("instrument_id", sa.Integer(), nullable=False),
        sa.Column(
            "convention",
            sa.Enum(
                "multiplier", "percent", "pulses per mile", name="convention", native_enum=False, create_constraint=True
            ),
            nullable=False,
        ),
        sa.Column("value", sa.Double(), nullable=False),
        sa.Column("set_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("note", sa.Text(), nullable=False),
        sa.Column("entry_id", sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint(["entry_id"], ["journal.id"], name=op.f("fk_settings_entry_id_journal")),
        sa.ForeignKeyConstraint(
            ["instrument_id"], ["instruments.id"], name=op.f("fk_settings_instrument_id_instruments")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_settings")),
    )
    with op.batch_alter_table("settings", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_settings_entry_id"), ["entry_id"], unique=False)
        batch_op.create_index(batch_op.f("ix_settings_instrument_id"), ["instrument_id"], unique=False)

    op.create_table(
        "trials",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("instrument_id", sa.Integer(), nullable=False),
        sa.Column("course_id", sa.Integer(), nullable=False),
        sa.Column(
            "kind",
            sa.Enum("calibration", "check", name="kind", native_enum=False, create_constraint=True),
            nullable=False,
        ),
        sa.Column("began_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("utc_offset_min", sa.Integer(), nullable=False),
        sa.Column("floating_insisted", sa.Boolean(), nullable=False),
        sa.Column("entry_id", sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint(["course_id"], ["courses.id"], name=op.f("fk_trials_course_id_courses")),
        sa.ForeignKeyConstraint(["entry_id"], ["journal.id"], name=op.f("fk_trials_entry_id_journal")),
        sa.ForeignKeyConstraint(
            ["instrument_id"], ["instruments.id"], name=op.f("fk_trials_instrument_id_instruments")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_trials")),
    )
    with op.batch_alter_table("trials", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_trials_course_id"), ["course_id"], unique=False)
        batch_op.create_index(batch_op.f("ix_trials_entry_id"), ["entry_id"], unique=False)
        batch_op.create_index(batch_op.f("ix_trials_instrument_id"), ["instrument_id"], unique=False)

    op.create_table(
        "corrections",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("instrument_id", sa.Integer(), nullable=False),
        sa.Column("trial_id", sa.Integer(), nullable=False),
        sa.Column(
            "how", sa.Enum("applied", "set", name="how", native_enum=False, create_constraint=True), nullable=False
        ),
        sa.Column("powers", sa.JSON(), nullable=False),
        sa.Column("coefficients", sa.JSON(), nullable=False),
        sa.Column("covariance", sa.JSON(), nullable=False),
        sa.Column("dof", sa.Double(), nullable=True),
        sa.Column("lowest_kn", sa.Double(), nullable=False),
        sa.Column("highest_kn", sa.Double(), nullable=False),
        sa.Column(
            "measured_convention",
            sa.Enum(
                "multiplier",
                "percent",
                "pulses per mile",
                name="measured_convention",
                native_enum=False,
                create_constraint=True,
            ),
            nullable=True,
        ),
        sa.Column("measured_value", sa.Double(), nullable=True),
        sa.Column("new_setting_id", sa.Integer(), nullable=True),
        sa.Column("put_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("valid_from", sa.DateTime(timezone=True), nullable=False),
        sa.Column("valid_until", sa.DateTime(timezone=True), nullable=True),
        sa.Column("author", sa.String(length=120), nullable=False),
        sa.Column("provenance", sa.JSON(), nullable=False),
        sa.Column("entry_id", sa.Integer(), nullable=False),
        sa.CheckConstraint("valid_until IS NULL OR valid_until > valid_from", name=op.f("ck_corrections_validity")),
        sa.ForeignKeyConstraint(["entry_id"], ["journal.id"], name=op.f("fk_corrections_entry_id_journal")),
        sa.ForeignKeyConstraint(
            ["instrument_id"], ["instruments.id"], name=op.f("fk_corrections_instrument_id_instruments")
        ),
        sa.ForeignKeyConstraint(
            ["new_setting_id"], ["settings.id"], name=op.f("fk_corrections_new_setting_id_settings")
        ),
        sa.ForeignKeyConstraint(["trial_id"], ["trials.id"], name=op.f("fk_corrections_trial_id_trials")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_corrections")),
    )
    with op.batch_alter_table("corrections", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_corrections_entry_id"), ["entry_id"], unique=False)
        batch_op.create_index(batch_op.f("ix_corrections_instrument_id"), ["instrument_id"], unique=False)
        batch_op.create_index(batch_op.f("ix_corrections_new_setting_id"), ["new_setting_id"], unique=False)
        batch_op.create_index(batch_op.f("ix_corrections_trial_id"), ["trial_id"], unique=False)

    op.create_table(
        "runs",
        sa.Column("id", sa.String(length=36), nullable=False),
        sa.Column("trial_id", sa.Integer(), nullable=False),
        sa.Column("place", sa.Integer(), nullable=False),
        sa.Column(
            "direction",
            sa.Enum("out", "back", name="direction", native_enum=False, create_constraint=True),
            nullable=False,
        ),
        sa.Column("elapsed_s", sa.Double(), nullable=False),
        sa.Column("started_at", sa.DateTime(timezone=True), nullable=True),
        sa.Column("speed_group", sa.String(length=60), nullable=False),
        sa.Column("noted_by", sa.Text(), nullable=False),
        sa.Column("timed_by", sa.Text(), nullable=False),
        sa.Column("helm", sa.Text(), nullable=False),
        sa.Column("remarks", sa.Text(), nullable=False),
        sa.Column("fingerprint", sa.String(length=64), nullable=False),
        sa.Column("entry_id", sa.Integer(), nullable=False),
        sa.CheckConstraint("elapsed_s > 0", name=op.f("ck_runs_elapsed")),
        sa.ForeignKeyConstraint(["entry_id"], ["journal.id"], name=op.f("fk_runs_entry_id_journal")),
        sa.ForeignKeyConstraint(["trial_id"], ["trials.id"], name=op.f("fk_runs_trial_id_trials")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_runs")),
    )
    with op.batch_alter_table("runs", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_runs_entry_id"), ["entry_id"], unique=False)
        batch_op.create_index(batch_op.f("ix_runs_trial_id"), ["trial_id"], unique=False)

    op.create_table(
        "trial_details",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("trial_id", sa.Integer(), nullable=False),
        sa.Column(
            "steering",
            sa.Enum("heading held", "track held", name="steering", native_enum=False, create_constraint=True),
            nullable=False,
        ),
        sa.Column("speed_resolution_kn", sa.Double(), nullable=False),
        sa.Column("distance_resolution_nm", sa.Double(), nullable=False),
        sa.Column("timing_limit_s", sa.Double(), nullable=False),
        sa.Column("stream_irregularity_kn", sa.Double(), nullable=False),
        sa.Column("crab_deg", sa.Double(), nullable=True),
        sa.Column("u_crab_deg", sa.Double(), nullable=False),
        sa.Column("crossing_deg", sa.Double(), nullable=False),
        sa.Column("crew", sa.Text(), nullable=False),
        sa.Column("weather", sa.Text(), nullable=False),
        sa.Column("remarks", sa.Text(), nullable=False),
        sa.Column("entry_id", sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint(["entry_id"], ["journal.id"], name=op.f("fk_trial_details_entry_id_journal")),
        sa.ForeignKeyConstraint(["trial_id"], ["trials.id"], name=op.f("fk_trial_details_trial_id_trials")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_trial_details")),
    )
    with op.batch_alter_table("trial_details", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_trial_details_entry_id"), ["entry_id"], unique=False)
        batch_op.create_index(batch_op.f("ix_trial_details_trial_id"), ["trial_id"], unique=False)

    op.create_table(
        "readings",
        sa.Column("id", sa.String(length=36), nullable=False),
        sa.Column("run_id", sa.String(length=36), nullable=False),
        sa.Column("instrument_id", sa.Integer(), nullable=True),
        sa.Column(
            "kind",
            sa.Enum(
                "speed",
                "log_start",
                "log_stop",
                "elapsed",
                "mark_start",
                "mark_stop",
                "heading_compass",
                "rpm",
                name="kind",
                native_enum=False,
                create_constraint=True,
            ),
            nullable=False,
        ),
        sa.Column("place", sa.Integer(), nullable=False),
        sa.Column("value", sa.Double(), nullable=True),
        sa.Column("typed", sa.Text(), nullable=False),
        sa.Column("taken_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("noted_by", sa.Text(), nullable=False),
        sa.Column("setting_id", sa.Integer(), nullable=True),
        sa.Column("entry_id", sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint(["entry_id"], ["journal.id"], name=op.f("fk_readings_entry_id_journal")),
        sa.ForeignKeyConstraint(
            ["instrument_id"], ["instruments.id"], name=op.f("fk_readings_instrument_id_instruments")
        ),
        sa.ForeignKeyConstraint(["run_id"], ["runs.id"], name=op.f("fk_readings_run_id_runs")),
        sa.ForeignKeyConstraint(["setting_id"], ["settings.id"], name=op.f("fk_readings_setting_id_settings")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_readings")),
    )
    with op.batch_alter_table("readings", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_readings_entry_id"), ["entry_id"], unique=False)
        batch_op.create_index(batch_op.f("ix_readings_instrument_id"), ["instrument_id"], unique=False)
        batch_op.create_index(batch_op.f("ix_readings_run_id"), ["run_id"], unique=False)
        batch_op.create_index(batch_op.f("ix_readings_setting_id"), ["setting_id"], unique=False)

    if op.get_bind().dialect.name == "postgresql":
        _guard_on_postgresql()
    else:
        _guard_on_sqlite()


def downgrade() -> None:
    for table in reversed(TABLES):
        op.drop_table(table)
    if op.get_bind().dialect.name == "postgresql":
        op.execute("DROP FUNCTION truemile_refuse()")


def _guard_on_sqlite() -> None:
    for table in FACTS:
        _refuse_on_sqlite(f"{table}_no_update", f"UPDATE ON {table}")
        _refuse_on_sqlite(f"{table}_no_delete", f"DELETE ON {table}")
    _refuse_on_sqlite("journal_no_delete", "DELETE ON journal")
    _refuse_on_sqlite("journal_no_update", f"UPDATE OF {', '.join(WRITTEN_ONCE)} ON journal")
    _refuse_on_sqlite("journal_named_once", "UPDATE OF subject_id ON journal", "WHEN OLD.subject_id <> ''")


def _refuse_on_sqlite(name: str, event: str, when: str = "") -> None:
    op.execute(f"CREATE TRIGGER {name} BEFORE {event} {when} BEGIN SELECT RAISE(ABORT, '{WORDS}'); END")


def _guard_on_postgresql() -> None:
    op.execute(
        "CREATE FUNCTION truemile_refuse() RETURNS trigger LANGUAGE plpgsql AS "
        f"$$ BEGIN RAISE EXCEPTION '{WORDS}'; END $$"
    )
    for table in FACTS:
        _refuse_on_postgresql(f"{table}_no_update", f"UPDATE ON {table}")
        _refuse_on_postgresql(f"{table}_no_delete", f"DELETE ON {table}")
    _refuse_on_postgresql("journal_no_delete", "DELETE ON journal")
    _refuse_on_postgresql("journal_no_update", f"UPDATE OF {', '.join(WRITTEN_ONCE)} ON journal")
    _refuse_on_postgresql("journal_named_once", "UPDATE OF subject_id ON journal", "WHEN (OLD.subject_id <> '')")


def _refuse_on_postgresql(name: str, event: str, when: str = "") -> None:
    op.execute(f"CREATE TRIGGER {name} BEFORE {event} FOR EACH ROW {when} EXECUTE FUNCTION truemile_refuse()")
