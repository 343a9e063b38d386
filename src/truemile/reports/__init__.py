"""PDF sheets: the report of a trial, and the correction card for the chart table."""

from truemile.reports.card import CardSheet, set_card
from truemile.reports.from_workbook import correction_card, trial_report
from truemile.reports.trial_sheet import TrialSheet, set_trial

__all__ = ["CardSheet", "TrialSheet", "correction_card", "set_card", "set_trial", "trial_report"]
