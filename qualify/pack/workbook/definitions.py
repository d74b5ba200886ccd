"""The sheet of words: the trade's terms, figures, variants, decisions, marks."""

from __future__ import annotations

from collections.abc import Iterable

from qualify.evidence import Evaluation
from qualify.pack.workbook.book import Book, Sheet
from qualify.pack.workbook.what_if import has_statistics
from qualify.pack.workbook.words import CHAMBER, DECISIONS, LOCATION, MARKS, REPLICATES, STATISTICS, TRADE

NAME = "Definitions"
WIDTHS = (40, 34, 18, 92)


def write_definitions(book: Book, evaluation: Evaluation) -> None:
    """Write the sheet."""
    sheet = book.sheet(NAME, WIDTHS)
    sheet.title("Definitions")
    sheet.note(
        "The same word means different formulas in different documents; they differ by up to a factor of two."
    )
    sheet.next()
    sheet.header(["Word", "Document", "Unit", "Definition"], frozen_columns=1)
    _rows(sheet, "Words", ((word, "", "", text) for word, text in TRADE))
    own = "this tool's definition"
    _rows(
        sheet,
        "Figures of a location",
        ((word.name, own, word.unit, word.definition) for word in LOCATION.values()),
    )
    _rows(
        sheet,
        "Figures of the chamber",
        ((word.name, own, word.unit, word.definition) for word in CHAMBER.values()),
    )
    if has_statistics(evaluation):
        _rows(
            sheet,
            "Statistics of a window",
            ((word.name, own, word.unit, word.definition) for word in STATISTICS.values()),
        )
    if evaluation.record.replicates:
        _rows(
            sheet,
            "Replicate runs",
            ((word.name, own, word.unit, word.definition) for word in REPLICATES.values()),
        )
    variants = {
        (variant.document, variant.name): variant
        for survey in evaluation.record.surveys
        for variant in survey.variants
    }
    _rows(
        sheet,
        "Figures by a document's own definition (i, j: locations; r: the reference location; t: time; S: "
        "set point)",
        (
            (
                variant.name,
                variant.document + (f" [{variant.standing}]" if variant.standing else ""),
                "°C of difference",
                variant.formula,
            )
            for variant in variants.values()
        ),
    )
    _rows(sheet, "Decisions", ((word, "", "", text) for word, text in DECISIONS))
    _rows(sheet, "Standing of a document's number", ((mark, "", "", text) for mark, text in MARKS))
    for hold, profile in evaluation.record.settings.get("profiles", {}).items():
        named = " ".join(word for word in (profile["document"], profile["edition"]) if word)
        chosen = f", class {profile['class']}" if profile["class"] else ""
        _rows(
            sheet,
            f"Requirement profile of {hold}: {named}{chosen}; [own]: the plan's author states it",
            (
                (
                    ask["id"],
                    ask["citation"] + (f" [{ask['standing']}]" if ask["standing"] else ""),
                    ask["value"],
                    f"{ask['what']}. Use: {ask['use']}.",
                )
                for ask in profile["asks"]
            ),
        )
    sheet.fit()


def _rows(sheet: Sheet, heading: str, rows: Iterable[tuple[str, str, str, str]]) -> None:
    sheet.section(heading)
    for row in rows:
        for column, word in enumerate(row):
            sheet.text(column, word, "strong wrapped" if column == 0 else "text")
        sheet.next()
