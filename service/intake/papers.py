"""What a ticket's papers are made from: its row, its order, its notes, its proofs as pictures."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, tzinfo
from functools import partial
from zoneinfo import ZoneInfo

from pydantic import ValidationError
from sqlmodel import Session, col, select

from service.domain.compiled import CompiledCatalogue
from service.domain.errors import NotFound, ServiceError, Unavailable
from service.domain.ticket import ProofWish, TicketDocument
from service.domain.ticket_paper import PaperNote, PaperPicture, PaperRun, TicketPaper
from service.domain.ticket_states import Move, TicketState
from service.intake.artworks import artworks_of
from service.intake.kept_pictures import kept_picture
from service.intake.proofs import USUAL_PX, Draw, ProofQuery, drawn_proof, plan_proof, proof_mark
from service.intake.services import Caller, Services
from service.intake.ticket_rows import run_places
from service.store.files import DamagedFileError
from service.store.tables import Order, Ticket, TicketMove, TicketNote

PNG = "image/png"
IN_SHOP = Caller("", in_shop=True)
"""Papers are the shop's own, which sees every storefront's artworks."""

BROUGHT = (
    "this garment is the customer's own and of a cut that the shop has not measured. Go by the "
    "distances, and by the artwork"
)
NO_CATALOGUE = "no catalogue is in force"
UNREADABLE = "the artwork's file cannot be read"
NOT_SHOWABLE = "the proof cannot be asked for as the ticket has it"


def bench_url(public_url: str, number: str) -> str:
    """The bench page of a ticket, which its square code opens."""
    return f"{public_url.rstrip('/')}/bench/tickets/{number}"


def ticket_paper(services: Services, number: str, public_url: str) -> tuple[TicketPaper, int]:
    """The ticket as it goes onto paper, without pictures yet, and its version.

    Waits for the store. ``NotFound`` if there is no ticket of that number.
    """
    look = partial(_look, number=number, public_url=public_url, zone=_shop_zone(services))
    return services.database.read(look)


def _shop_zone(services: Services) -> tzinfo:
    """In which moments are written: the zone of the shop's calendar, UTC while there is none."""
    try:
        return ZoneInfo(services.catalogues.current.catalogue.calendar.time_zone)
    except LookupError:
        return UTC


def _look(
    session: Session, *, number: str, public_url: str, zone: tzinfo
) -> tuple[TicketPaper, int]:
    found = session.exec(
        select(Ticket, Order)
        .where(col(Ticket.number) == number)
        .where(col(Order.id) == col(Ticket.order_id))
    ).first()
    if found is None:
        raise NotFound("ticket-not-found", f"There is no ticket '{number}'.")
    ticket, order = found
    paper = TicketPaper(
        number=ticket.number,
        promised_day=ticket.promised_day,
        state=TicketState(ticket.state),
        order_id=order.id,
        reference=order.reference,
        line=ticket.line_index + 1,
        document=TicketDocument.model_validate_json(ticket.document_json),
        bench_url=bench_url(public_url, ticket.number),
        notes=tuple(_notes(session, ticket, zone)),
        runs=tuple(
            PaperRun(place.run, place.medium, place.first_place, place.last_place)
            for place in run_places(session, ticket)
        ),
    )
    return paper, ticket.version


def _notes(session: Session, ticket: Ticket, zone: tzinfo) -> list[PaperNote]:
    """What was written beside moves and by itself, its moments in that zone."""
    moves = select(TicketMove).where(TicketMove.ticket_id == ticket.id, TicketMove.note != "")
    notes = select(TicketNote).where(TicketNote.ticket_id == ticket.id)
    written = [
        *(
            PaperNote(move.at.astimezone(zone), move.who, Move(move.move), move.note)
            for move in session.exec(moves.order_by(col(TicketMove.id))).all()
        ),
        *(
            PaperNote(note.at.astimezone(zone), note.who, None, note.text)
            for note in session.exec(notes.order_by(col(TicketNote.id))).all()
        ),
    ]
    return sorted(written, key=lambda note: note.at)


def with_pictures(
    services: Services, paper: TicketPaper, draw: Draw, drawing_version: str
) -> TicketPaper:
    """The paper with a proof of each decoration, or why there is none.

    Proofs are of the catalogue in force now, drawn once and then kept. Waits for store, files and
    picture room. ``Unavailable`` while store or picture room are busy or away, not for a picture
    that would fail again.
    """
    try:
        compiled = services.catalogues.current
    except LookupError:
        none = PaperPicture(reason=NO_CATALOGUE)
        return replace(paper, pictures=(none,) * len(paper.document.decorations))
    pictures = tuple(
        PaperPicture(reason=BROUGHT)
        if one.proof is None
        else _picture(services, compiled, one.proof, draw, drawing_version)
        for one in paper.document.decorations
    )
    return replace(paper, pictures=pictures)


_LASTING = frozenset(
    {"picture-takes-too-long", "picture-needs-too-much", "picture-ends-its-worker"}
)
"""Codes of what will be as it is when asked again."""


def _picture(
    services: Services,
    compiled: CompiledCatalogue,
    wish: ProofWish,
    draw: Draw,
    drawing_version: str,
) -> PaperPicture:
    try:
        return PaperPicture(_drawn(services, compiled, wish, draw, drawing_version))
    except ValidationError:
        return PaperPicture(reason=NOT_SHOWABLE)
    except DamagedFileError:
        return PaperPicture(reason=UNREADABLE)
    except ServiceError as refused:
        if isinstance(refused, Unavailable) and refused.code not in _LASTING:
            raise
        told = refused.faults[0].detail if refused.faults else refused.detail
        return PaperPicture(reason=told)


def _drawn(
    services: Services,
    compiled: CompiledCatalogue,
    wish: ProofWish,
    draw: Draw,
    drawing_version: str,
) -> bytes:
    query = ProofQuery(**wish.model_dump(exclude={"artwork_id"}), px=USUAL_PX)
    artworks = artworks_of(services, IN_SHOP, [wish.artwork_id])
    proof = plan_proof(compiled, wish.artwork_id, query, artworks)
    picture = kept_picture(services, IN_SHOP, wish.artwork_id)
    artwork = artworks[wish.artwork_id]
    mark = proof_mark(compiled, picture, artwork, query, PNG, drawing_version)
    return drawn_proof(
        services,
        compiled,
        picture,
        proof,
        mark=mark,
        width_px=query.px,
        media_type=PNG,
        draw=draw,
    )
