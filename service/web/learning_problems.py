"""Kinds of problems with minutes; the whole table is :data:`service.web.problem_kinds.KINDS`."""

from __future__ import annotations

from typing import Final

from service.web.problem_kind import ProblemKind

LEARNING_KINDS: Final = (
    ProblemKind(
        "minutes-corrected",
        409,
        "The entry was corrected before",
        "Another entry counts in its place; 'corrected_by' is its id. Nothing was entered.",
        "Read the ticket's minutes again, and correct the entry that counts if it is wrong too.",
    ),
    ProblemKind(
        "standard-minutes-changed",
        409,
        "Other minutes are proposed by now",
        "What was named is neither proposed nor written in the catalogue's files: jobs were "
        "counted, or other minutes came in force since it was looked at. 'operations' says what "
        "is proposed now. Nothing was changed.",
        "Look again with GET /v1/standard-minutes, then decide.",
    ),
)
