"""The workbook of the data pack: what the auditor holds.

It sees the record and the readings, and computes nothing of its own: figures are formulas over the
readings, beside what the engine found.
"""

from __future__ import annotations

from pathlib import Path

from qualify.evidence import Evaluation
from qualify.pack.workbook.block_readings import BlockLayout, write_blocks
from qualify.pack.workbook.book import Book
from qualify.pack.workbook.budget_sheet import write_budgets
from qualify.pack.workbook.budgets import BudgetsLayout
from qualify.pack.workbook.cells import view_recordings
from qualify.pack.workbook.contributions import location_budgets
from qualify.pack.workbook.definitions import write_definitions
from qualify.pack.workbook.dispositions import write_dispositions
from qualify.pack.workbook.estimates import write_estimates
from qualify.pack.workbook.figures import FiguresLayout, write_figures
from qualify.pack.workbook.heat import write_heat
from qualify.pack.workbook.operation_tests import write_operation_tests
from qualify.pack.workbook.other_rules import write_other_rules
from qualify.pack.workbook.provenance import write_provenance
from qualify.pack.workbook.readings import InstantLayout, write_readings
from qualify.pack.workbook.requirements import write_requirements
from qualify.pack.workbook.runs import RunsLayout, write_runs
from qualify.pack.workbook.sensors import SensorsLayout, write_certificates, write_sensors
from qualify.pack.workbook.sign_off import write_sign_off
from qualify.pack.workbook.stage_records import write_stage_records
from qualify.pack.workbook.stages import write_stages
from qualify.pack.workbook.statistics import write_statistics
from qualify.pack.workbook.sureness import write_sureness
from qualify.pack.workbook.test_readings import TestReadingsLayout, write_test_readings
from qualify.pack.workbook.uncertainty import UncertaintyLayout, write_uncertainty
from qualify.pack.workbook.verdicts import write_verdicts
from qualify.pack.workbook.what_if import write_what_if

__all__ = ["write_workbook"]


def write_workbook(evaluation: Evaluation, path: Path) -> None:
    """Write the workbook.

    Parameters
    ----------
    evaluation
        The record, and the readings it rests on.
    path
        The file to write; the same evaluation gives the same bytes.

    Raises
    ------
    OSError
        If the file can't be written.
    """
    recordings = view_recordings(evaluation)
    sensors = SensorsLayout(evaluation, recordings)
    budgets = BudgetsLayout(evaluation, location_budgets(evaluation, recordings, sensors))
    uncertainty = UncertaintyLayout(evaluation, budgets)
    readings = [
        BlockLayout(view) if view.in_blocks else InstantLayout(view, sensors, uncertainty.allowance)
        for view in recordings
    ]
    of_survey = {
        hold.survey: (view, hold, layout.cells(hold))
        for view, layout in zip(recordings, readings, strict=True)
        for hold in view.holds
    }
    figures = [
        FiguresLayout(evaluation, survey, of_survey.get(survey), uncertainty.formula)
        for survey in range(len(evaluation.record.surveys))
    ]
    runs = RunsLayout(evaluation, figures)
    tests = TestReadingsLayout(evaluation)
    plan = evaluation.record.plan
    footer = " · ".join(part for part in (plan.title, plan.number, plan.revision) if part)
    has_surveys = bool(evaluation.record.surveys)
    with Book(footer) as book:
        write_sign_off(book, evaluation, figures, uncertainty, runs)
        write_stages(book, evaluation)
        write_verdicts(book, evaluation)
        if has_surveys:
            write_requirements(book, evaluation, figures)
            write_other_rules(book, evaluation)
        write_stage_records(book, evaluation)
        write_operation_tests(book, evaluation, tests)
        write_test_readings(book, tests)
        write_heat(book, evaluation)
        if has_surveys:
            write_sensors(book, sensors)
            write_certificates(book, sensors)
        for layout in readings:
            if isinstance(layout, BlockLayout):
                write_blocks(book, layout)
            else:
                write_readings(book, layout)
        for figure in figures:
            write_figures(book, figure)
        if has_surveys:
            write_uncertainty(book, uncertainty, figures)
            write_budgets(book, evaluation, budgets, uncertainty, figures)
            write_sureness(book, evaluation)
            write_what_if(book, evaluation)
            write_statistics(book, evaluation)
            write_estimates(book, evaluation)
            write_runs(book, runs)
        write_dispositions(book, evaluation)
        write_definitions(book, evaluation)
        write_provenance(book, evaluation)
        book.write(path)
