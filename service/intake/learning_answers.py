"""What is told of minutes: entries of a ticket, and standard minutes with what is proposed."""

from __future__ import annotations

from typing import Annotated

from pydantic import Field

from service.domain.methods import OperationKind
from service.intake.answers import Answer, Moment
from service.intake.price_answers import ExactNumber


class MinutesEntryAnswer(Answer):
    """What pieces took at a step, beside what was planned for them.

    ``corrected_by`` is the entry that counts in its place.
    """

    id: int
    step_key: str
    method: str
    operation: str
    station: str
    pieces: int
    minutes: ExactNumber
    standard_min: ExactNumber
    interrupted: bool
    corrects: int | None
    corrected_by: int | None
    who: str
    at: Moment


class TimedStepAnswer(Answer):
    """A step whose minutes can be entered, and what one piece was planned to take there."""

    step_key: str
    method: str
    operation: str
    station: str
    standard_each_min: ExactNumber


class TicketMinutesAnswer(Answer):
    """Steps of a ticket whose minutes can be entered, and what was entered, the oldest first."""

    ticket: str
    steps: tuple[TimedStepAnswer, ...]
    entries: tuple[MinutesEntryAnswer, ...]


class StandardMinutesAnswer(Answer):
    """Minutes of a person for one piece, and the share of its estimated weeding on top."""

    each_min: ExactNumber
    weed_share: ExactNumber


class LearntAnswer(Answer):
    """What jobs have taught of an operation.

    ``ratio`` is taken over written minutes on the mean of many jobs, after ``jobs`` real ones and a
    prior worth ``prior_jobs`` with the ratio ``prior_ratio``. The next job lies between
    ``low_ratio`` and ``high_ratio`` times the written minutes with the page's probability;
    ``low_min`` and ``high_min`` are the same for a piece without the share of its weeding.
    """

    jobs: int
    prior_jobs: float
    prior_ratio: float
    ratio: float
    low_ratio: float
    high_ratio: float
    low_min: ExactNumber
    high_min: ExactNumber


class OperationMinutesAnswer(Answer):
    """An operation: minutes in force, those written in the catalogue's files, what is proposed.

    ``learnt`` and ``proposed`` are null where no job stands behind it. ``change_percent`` is from
    what is in force to what is proposed.
    """

    method: str
    operation: str
    kind: OperationKind
    station: str
    in_force: StandardMinutesAnswer
    written: StandardMinutesAnswer
    learnt: LearntAnswer | None
    proposed: StandardMinutesAnswer | None
    change_percent: float | None


class StationSpreadAnswer(Answer):
    """How far jobs at a station scatter: deviation as a share of the mean, believed and learnt."""

    station: str
    name: str
    spread: float
    learnt_spread: float
    jobs: int


class StandardMinutesPage(Answer):
    """Standard minutes of every operation. What was entered since ``counted_before`` waits."""

    catalogue_version: str
    counted_before: Moment
    interval_percent: Annotated[int, Field(examples=[90])]
    half_life_jobs: float
    operations: tuple[OperationMinutesAnswer, ...]
    stations: tuple[StationSpreadAnswer, ...]


class ChangedMinutesAnswer(Answer):
    """Minutes that were put in force, in place of which."""

    method: str
    operation: str
    before: StandardMinutesAnswer
    after: StandardMinutesAnswer
    jobs: int


class AcceptedMinutesAnswer(Answer):
    """The catalogue version now in force, and what changed; nothing where all was so already."""

    catalogue_version: str
    changes: tuple[ChangedMinutesAnswer, ...]
