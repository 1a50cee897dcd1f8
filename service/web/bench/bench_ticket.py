"""A ticket as its page shows it: steps with their ticks, pieces by size, and one history."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date, datetime

from service.domain.pieces import SPOIL_WORDS
from service.domain.replanning import steps_left
from service.domain.setting_rows import setting_rows
from service.domain.ticket_states import Move, TicketState
from service.domain.ticket_steps import TicketStep
from service.domain.ticket_words import kind_words
from service.intake.answers import PieceEntryAnswer, TickAnswer, TicketAnswer
from service.intake.bench_work import AT_THE_PRESS, IN_HAND
from service.render.placement_svg import PlacementScene
from service.render.ticket_view import scene_of
from service.web.bench.words import MOVE_WORDS, Urgency, plural, urgency

_TWICE = frozenset({"temperature"})
_LARGE = frozenset({"how many", "time", "pressure", "peel", "then peel"})
_WIDE = frozenset({"machine", "cover", "colour profile", "test stripe", "blade and force"})
_SHOWN_APART = "side"


@dataclass(frozen=True, slots=True)
class Setting:
    """One setting; ``look`` names how large it is shown."""

    label: str
    value: str
    look: str


@dataclass(frozen=True, slots=True)
class ShownStep:
    """A step with its settings; ``tick`` is None until it is ticked off."""

    step: TicketStep
    settings: tuple[Setting, ...]
    tick: TickAnswer | None


@dataclass(frozen=True, slots=True)
class HistoryLine:
    """One act: when, by whom, in words, and with what note."""

    at: datetime
    who: str
    what: str
    note: str = ""


@dataclass(frozen=True, slots=True)
class ShownTicket:
    """The ticket of a page: the answer, and what is worked out for showing it.

    ``scenes`` are the drawings of the document's decorations, in its order.
    """

    answer: TicketAnswer
    urgency: Urgency
    steps: tuple[ShownStep, ...]
    history: tuple[HistoryLine, ...]
    scenes: tuple[PlacementScene | None, ...]

    @property
    def takes_pieces(self) -> bool:
        """Whether pieces are entered now."""
        return self.answer.state in AT_THE_PRESS

    @property
    def takes_ticks(self) -> bool:
        """Whether steps are ticked off now."""
        return self.answer.state in IN_HAND

    @property
    def to_remake(self) -> dict[str, int]:
        """Pieces for which no blank is left, by size."""
        counts = self.answer.pieces
        return {size: one.to_remake for size, one in counts.items() if one.to_remake}

    @property
    def halt(self) -> HistoryLine | None:
        """Who set the ticket aside and why, while it is set aside."""
        if self.answer.state != TicketState.HALTED:
            return None
        halts = [line for line in self.history if line.what == MOVE_WORDS[Move.HALT]]
        return halts[-1] if halts else None

    def step_to_show(self, key: str) -> ShownStep | None:
        """The step of that key, else the first still to do and not ticked off; None without any."""
        asked = (one for one in self.steps if one.step.key == key)
        left = steps_left(self.answer.document.steps, TicketState(self.answer.state))
        todo = (one for one in self.steps if one.tick is None and one.step in left)
        return next(asked, None) or next(todo, None)

    def since(self, seen_at: datetime) -> tuple[HistoryLine, ...]:
        """What was done after a page was made."""
        return tuple(line for line in self.history if line.at > seen_at)


def shown_ticket(answer: TicketAnswer, today: date) -> ShownTicket:
    """The ticket as its page shows it on that day of the shop."""
    return ShownTicket(
        answer=answer,
        urgency=urgency(answer.promised_day, today) if _is_owed(answer) else Urgency.LATER,
        steps=tuple(
            ShownStep(
                step,
                tuple(_settings(step, answer.document.pieces_to_start)),
                answer.ticks.get(step.key),
            )
            for step in answer.document.steps
        ),
        history=tuple(sorted(_history(answer), key=lambda line: line.at)),
        scenes=tuple(scene_of(answer.document, one) for one in answer.document.decorations),
    )


def _is_owed(answer: TicketAnswer) -> bool:
    return answer.state not in (TicketState.SENT, TicketState.CANCELLED)


def _settings(step: TicketStep, pieces: int) -> Iterator[Setting]:
    """The rows of a step; which side is shown by a sign of its own."""
    for label, value in setting_rows(step, pieces):
        if label != _SHOWN_APART:
            yield Setting(label, value, _look(label))


def _look(label: str) -> str:
    for look, labels in (("twice", _TWICE), ("large", _LARGE), ("wide", _WIDE)):
        if label in labels:
            return look
    return "plain"


def _history(answer: TicketAnswer) -> Iterator[HistoryLine]:
    for move in answer.moves:
        yield HistoryLine(move.at, move.who, MOVE_WORDS[move.move], move.note)
    for entry in answer.entries:
        yield HistoryLine(entry.at, entry.who, _entry_words(entry), entry.note)
    names = {
        step.key: f"step {step.number}, {kind_words(step.kind)}" for step in answer.document.steps
    }
    for tick in answer.tick_entries:
        name = names.get(tick.step_key, f"step '{tick.step_key}'")
        done = "Ticked off" if tick.done else "Took back the tick of"
        yield HistoryLine(tick.at, tick.who, f"{done} {name}")
    for note in answer.notes:
        yield HistoryLine(note.at, note.who, "Note", note.text)


def _entry_words(entry: PieceEntryAnswer) -> str:
    """``2 pieces of size M spoiled: scorched, glazed or melted``."""
    pieces = f"{plural(entry.count, 'piece')} of size {entry.size}"
    why = f": {SPOIL_WORDS[entry.reason]}" if entry.reason else ""
    if entry.undoes is not None:
        return f"Took back {pieces} entered as {entry.undoes}{why}"
    return f"{pieces} {entry.kind}{why}"
