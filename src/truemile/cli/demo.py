"""``truemile demo``: the main job from end to end, worked out on the spot from the demo workbook."""

from __future__ import annotations

import tempfile
from datetime import datetime, timedelta
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from truemile.cli.options import json_option
from truemile.cli.present import WIDTH, as_plain, paragraph, ruled, show

if TYPE_CHECKING:
    from truemile.core.course_judge import CourseVerdict
    from truemile.core.log_trial import TrialResult
    from truemile.workbook.check_trials import CheckView
    from truemile.workbook.demo_truth import DemoTruth
    from truemile.workbook.log_corrections import CorrectedView
    from truemile.workbook.store import Workbook
    from truemile.workbook.views import CorrectionView, TrialView

#: Speeds by the log that step 6 corrects: one as measured, one beyond.
SHOWN_KN = (6.3, 7.5)


@click.command()
@click.option("--working", is_flag=True, help="Show all hand lines, not only those of the factor.")
@json_option
def demo(*, working: bool, as_json: bool) -> None:
    """Show the main job: choose and judge a course, make runs, get the factor, put it in force, use it, check it.

    The data are made on the spot from a stated truth, so that each estimate stands beside what is true.
    """
    from truemile.workbook.demo import make_demo
    from truemile.workbook.store import Workbook

    with tempfile.TemporaryDirectory() as folder, Workbook.open(make_demo(Path(folder) / "demo.truemile")) as workbook:
        story = Story(workbook)
    show(story.data, lambda: story.text(working=working), as_json=as_json, caution=True)


class Story:
    """The main job as the demo crew did it in spring: a trial, its factor in force, and a check trial.

    Parameters
    ----------
    workbook
        The demo workbook; everything is worked out from its raw readings here.
    """

    def __init__(self, workbook: Workbook) -> None:
        from truemile.core.course_judge import RunPlan, judge_course
        from truemile.workbook import log_corrections, log_trials
        from truemile.workbook.check_trials import check_result
        from truemile.workbook.demo import demo_truth

        self.truth: DemoTruth = demo_truth()
        # The season told here was entered first; the one before it came from the deck log later.
        kept = sorted(log_trials.trials(workbook), key=lambda view: view.id)
        self.trial: TrialView = kept[0]
        self.check: CheckView = check_result(workbook, kept[1].id)
        self.result: TrialResult = log_trials.analysed(self.trial)
        plan = RunPlan(5.9, len(self.trial.runs), 8, counter=True, conditions=self.trial.conditions)
        self.verdict: CourseVerdict = judge_course(self.trial.course.course, plan)
        self.in_force: CorrectionView | None = log_corrections.in_force(workbook, None, kept[1].began_at)
        self.used: list[CorrectedView] = [
            log_corrections.correct_speed(workbook, None, shown, at=kept[1].began_at) for shown in SHOWN_KN
        ]

    def data(self) -> dict[str, Any]:
        """The same for a machine."""
        from truemile.cli.log.check import check_data
        from truemile.workbook.demo import DEMO_WORDS

        return {
            "words": DEMO_WORDS,
            "course": as_plain(self.verdict),
            "trial": as_plain(self.trial),
            "result": as_plain(self.result),
            "in_force": as_plain(self.in_force),
            "corrected": as_plain(self.used),
            "check": check_data(self.check),
            "truth": [
                {"quantity": name, "estimate": found, "expanded": around, "truth": true}
                for name, found, around, true, _ in self.comparison()
            ],
        }

    def text(self, *, working: bool) -> str:
        """The story in seven steps."""
        from truemile.cli.log.check import check_text
        from truemile.cli.log.correct import corrected_text
        from truemile.cli.log.course import verdict_text
        from truemile.cli.log.force import correction_words
        from truemile.cli.log.render import budget_text, improvements_text, ladder_text, reading_lines, runs_table
        from truemile.core.improvements import improvements
        from truemile.workbook.demo import DEMO_WORDS

        best = self.result.groups[0].best
        steps = [
            ("Choose a measured course, and have it judged", verdict_text(self.verdict, advice=False)),
            ("Make the runs and write down what is read", self._paper()),
            (
                "The factor: by hand, and where the hand mean goes wrong",
                "\n\n".join([runs_table(best), ladder_text(best), reading_lines(best)]),
            ),
            ("The working, line by line", self._lines(all_of_it=working)),
            (
                "What the ± is made of, and what to do about it",
                "\n\n".join([budget_text(best.budget), improvements_text(improvements(self.result))]),
            ),
            ("Put it in force", correction_words(self.in_force) if self.in_force else ""),
            ("Use it", corrected_text(self.used, distance=False)),
            ("Check it with another trial, a fortnight later", check_text(self.check)),
            ("Hold it against the truth that the demo was made from", self._truth_table()),
        ]
        head = f"Truemile: measure the log, then correct what it shows\n{DEMO_WORDS}"
        blocks = [f"{number}  {title}\n{'═' * WIDTH}\n{body}" for number, (title, body) in enumerate(steps, 1)]
        return "\n\n".join([head, *blocks])

    def _paper(self) -> str:
        from truemile.cli.log.trial import raw_runs_table

        view = self.trial
        about = f"{view.ship_date}. {view.weather} {view.crew}. Steered with {view.conditions.steering.value}."
        return f"{paragraph(about)}\n\n{raw_runs_table(view)}"

    def _lines(self, *, all_of_it: bool) -> str:
        """All hand lines, or those of the first run and of the factor."""
        from dataclasses import replace

        from truemile.cli.log.trial_output import working_of, working_text

        whole = working_of(self.result)
        if all_of_it:
            return working_text(whole)
        factor = next(s for s in whole.sections if any(line.kind.value == "answer" for line in s.lines))
        short = replace(whole, sections=(*whole.sections[:2], factor), notes=())
        return f"{working_text(short)}\n  All {len(whole.lines)} lines: truemile demo --working"

    def comparison(self) -> list[tuple[str, float, float, float, int]]:
        """Each estimate with its 95 % uncertainty, the truth, and the decimals it is printed to."""
        best = self.result.groups[0].best
        middle = self._middle()
        course = self.trial.course.course.course_true_deg or 0.0
        along, _ = self.truth.stream(course, middle)
        rows = [
            (
                "log factor",
                best.factor,
                best.expanded,
                self.truth.factor(best.mean_indicated_kn, middle),
                3,
            ),
            ("by hand", best.hand_factor, 0.0, self.truth.factor(best.mean_indicated_kn, middle), 3),
            ("stream along, kn", best.stream_along_kn, best.expanded_stream_along_kn, along, 2),
        ]
        view = self.used[0]
        true = self.truth.true_kn(view.corrected.read, view.at)
        rows.append((f"log {view.corrected.read:.1f} kn is", view.corrected.value, view.corrected.expanded, true, 2))
        return rows

    def _middle(self) -> datetime:
        """The middle of the trial."""
        runs = [item.run for item in self.trial.runs]
        starts = [run.started_at for run in runs if run.started_at is not None]
        last = max(start + timedelta(seconds=run.elapsed_s) for start, run in zip(starts, runs, strict=True))
        return min(starts) + (last - min(starts)) / 2

    def _truth_table(self) -> str:
        rows = []
        for name, found, around, true, places in self.comparison():
            off = found - true
            inside = "" if not around else "inside the ±" if abs(off) <= around else "outside the ±"
            plus_minus = f"± {around:.{places}f}" if around else ""
            rows.append((name, f"{found:.{places}f}", plus_minus, f"{true:.{places}f}", f"{off:+.{places}f}", inside))
        return ruled(("", "estimate", "95 %", "truth", "off", ""), rows)
