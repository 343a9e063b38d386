"""PDF sheets: the report of a trial, the history of a log, and the correction card for the chart table."""

from truemile.reports.card import CardSheet, set_card
from truemile.reports.from_workbook import correction_card, history_report, trial_report
from truemile.reports.history_sheet import HistorySheet, set_history
from truemile.reports.round_sheet import RoundSheet, set_round
from truemile.reports.trial_sheet import TrialSheet, set_trial

__all__ = [
    "CardSheet",
    "HistorySheet",
    "RoundSheet",
    "TrialSheet",
    "correction_card",
    "history_report",
    "set_card",
    "set_history",
    "set_round",
    "set_trial",
    "trial_report",
]
