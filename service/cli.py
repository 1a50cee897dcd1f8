"""The command line: serve, worker, demo, quote, nest, simulate, keys, catalogue and others."""

from __future__ import annotations

import argparse
import asyncio
import json
import signal
import sys
from collections.abc import Callable, Sequence
from contextlib import suppress
from pathlib import Path

from pydantic import ValidationError

from service import __version__
from service.assembly import Assembly, assemble, random_id, random_key, utc_now
from service.catalogue.faults import CatalogueFaults, format_faults
from service.catalogue.loading import demo_shop_path, load_catalogue
from service.demo import play_demo
from service.domain.canonical import rfc3339
from service.domain.compiled import compile_catalogue
from service.domain.errors import ServiceError
from service.domain.matrix import SAMPLES, matrix_of
from service.gallery import GALLERY_PX, write_gallery
from service.intake.nest_files import NestWish, layout_file, layout_text, nest_file, write_layout
from service.intake.papers import ticket_paper, with_pictures
from service.intake.priced_lines import price_for_staff, quote_request
from service.intake.proofs import LEAST_PX, MOST_PX
from service.logs import configure_logs
from service.notify.sealing import KeyFault
from service.render.build_up_text import build_up_text
from service.render.matrix_html import matrix_html
from service.render.matrix_text import matrix_text
from service.render.nest_svg import nest_svg
from service.render.proof import DRAWING_VERSION, draw_proof
from service.render.ticket_page import ticket_page
from service.render.ticket_pdf import ticket_pdf
from service.render.ticket_text import ticket_text
from service.settings import Settings
from service.simulate_command import MOST_DAYS, MOST_SEED, PICTURE, simulate
from service.store.database import Database
from service.store.keys import list_keys, new_key, revoke_key
from service.store.migrate import current_revision, head_revision, upgrade
from service.web.app import create_app, describe
from service.web.serving import run_server

SCOPES = ("storefront", "staff", "owner")


def main(arguments: Sequence[str] | None = None) -> int:
    """Run a command; gives the exit code: 0 done, 1 refused with a reason, 2 wrongly called."""
    options = _parser().parse_args(arguments)
    configure_logs(json_lines=not sys.stderr.isatty())
    command: Callable[[argparse.Namespace], int] = options.command
    try:
        return command(options)
    except CatalogueFaults as faulty:
        print(format_faults(faulty.faults), file=sys.stderr)
        print(f"{len(faulty.faults)} faults in the catalogue; nothing started.", file=sys.stderr)
    except ServiceError as refused:
        print(refused.detail, file=sys.stderr)
        for fault in refused.faults:
            print(f"  {fault.parameter or '.'.join(map(str, fault.path))}: {fault.detail}",
                  file=sys.stderr)  # fmt: skip
    except ValidationError as wrong:
        for error in wrong.errors(include_input=False, include_url=False):
            name = "_".join(str(part) for part in error["loc"]).upper()
            print(f"Setting GARMENT_{name}: {error['msg']}", file=sys.stderr)
    except (KeyFault, OSError) as fault:
        print(str(fault), file=sys.stderr)
    return 1


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(
        prog="garment-intake", description="Order intake for a custom garment decorator."
    )
    parser.add_argument("--version", action="version", version=__version__)
    commands = parser.add_subparsers(required=True, metavar="COMMAND")
    _add_running(commands)
    _add_keys(commands)
    _add_catalogue(commands)
    _add_quote(commands)
    _add_nest(commands)
    _add_ticket(commands)
    _add_simulate(commands)
    migrate = commands.add_parser("migrate", help="bring the store's tables up to date")
    migrate.set_defaults(command=_migrate)
    openapi = commands.add_parser("openapi", help="print the OpenAPI 3.1 document")
    openapi.set_defaults(command=_openapi)
    return parser


def _add_running(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    serve = commands.add_parser(
        "serve", help="run the service", description="Run the service, with its webhook sender."
    )
    serve.add_argument("--host", default="127.0.0.1", help="address to listen on")
    serve.add_argument("--port", type=int, default=8000, help="port to listen on; 0 for any free")
    serve.set_defaults(command=_serve)
    worker = commands.add_parser("worker", help="send webhooks only, beside 'serve'")
    worker.set_defaults(command=_worker)
    demo = commands.add_parser(
        "demo",
        help="play the main job on the invented demo shop, then stay up",
        description="Start the service on the invented demo shop, play what a storefront would "
        "see, and stay up to explore.",
    )
    demo.add_argument("--data", type=Path, default=Path("garment-demo"), help="data folder")
    demo.add_argument("--port", type=int, default=0, help="port to listen on; 0 for any free")
    demo.add_argument("--leave", action="store_true", help="end after the play")
    demo.set_defaults(command=_demo)
    _add_gallery(commands)


def _add_gallery(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    gallery = commands.add_parser(
        "gallery",
        help="write proofs of the demo artworks on all demo blanks to a folder",
        description="Write a picture of each invented artwork on each invented blank, in a light "
        "and a dark colour, and a page to look through them. Takes a minute.",
    )
    gallery.add_argument("folder", type=Path, help="where to write; made if missing")
    gallery.add_argument(
        "--px",
        type=_proof_width,
        default=GALLERY_PX,
        help=f"width of a picture, {LEAST_PX} to {MOST_PX}; {GALLERY_PX} if none",
    )
    gallery.add_argument("--only", metavar="BLANK", help="one blank, such as cotton-tote")
    gallery.set_defaults(command=_gallery)


def _proof_width(text: str) -> int:
    if not text.isdecimal() or not LEAST_PX <= int(text) <= MOST_PX:
        raise argparse.ArgumentTypeError(f"a whole number from {LEAST_PX} to {MOST_PX}")
    return int(text)


def _add_keys(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    keys = commands.add_parser("keys", help="make, list and withdraw keys")
    actions = keys.add_subparsers(required=True, metavar="ACTION")
    add = actions.add_parser("add", help="make a key and print it, this once")
    add.add_argument("--holder", required=True, help="whose it is, such as my-storefront")
    add.add_argument("--scope", required=True, choices=SCOPES, help="what it may do")
    add.add_argument("--label", default="", help="a note for yourself")
    add.set_defaults(command=_keys_add)
    listing = actions.add_parser("list", help="list keys, never their secrets")
    listing.set_defaults(command=_keys_list)
    withdraw = actions.add_parser("withdraw", help="end a key; it may pass for ten seconds more")
    withdraw.add_argument("key_id", help="the key's id from 'keys list'")
    withdraw.set_defaults(command=_keys_withdraw)


def _add_catalogue(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    catalogue = commands.add_parser(
        "catalogue", help="check a catalogue, and show what works on what"
    )
    actions = catalogue.add_subparsers(required=True, metavar="ACTION")
    check = actions.add_parser("check", help="print every fault of a catalogue file or folder")
    check.add_argument("path", type=Path, nargs="?", help="file or folder; the demo shop if none")
    check.set_defaults(command=_catalogue_check)
    matrix = actions.add_parser(
        "matrix",
        help="print which methods work on which blanks",
        description="Print a table of methods and blanks, judged with an invented artwork.",
    )
    matrix.add_argument("path", type=Path, nargs="?", help="file or folder; the demo shop if none")
    matrix.add_argument(
        "--artwork", choices=SAMPLES, default=next(iter(SAMPLES)), help="what to judge with"
    )
    matrix.add_argument("--html", type=Path, metavar="FILE", help="also write it as an HTML page")
    matrix.set_defaults(command=_catalogue_matrix)


def _add_quote(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    quote = commands.add_parser(
        "quote",
        help="print how the price of an order is built up",
        description="Price an order written as for POST /v1/quotes and print every row of its "
        "build-up. Nothing is kept and no day is promised.",
    )
    quote.add_argument("file", type=Path, help="JSON file with the lines to price")
    quote.set_defaults(command=_quote)


def _add_nest(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    nest = commands.add_parser(
        "nest",
        help="lay pieces out on a roll and write the layout",
        description="Lay out the separate shapes of an SVG drawing with a size in mm, cm or in, or "
        "a list of sizes in mm, one kind to a line: WIDTHxHEIGHT COUNT [upright], # for notes. "
        "Takes seconds as a rule, minutes for a thousand different shapes.",
    )
    usual = NestWish()
    nest.add_argument("file", type=Path, help="SVG drawing or list of sizes")
    for name, mm, words in (
        ("width", usual.width_mm, "width of the roll"),
        ("gap", usual.gap_mm, "least distance between pieces"),
        ("margin", usual.margin_mm, "what stays clear on all sides"),
    ):
        nest.add_argument(
            f"--{name}", type=float, default=mm, metavar="MM", help=f"{words}; {mm:g} if none"
        )
    nest.add_argument("--upright", action="store_true", help="turn no piece, as nap asks for")
    nest.add_argument("--thorough", action="store_true", help="look ten times as long")
    nest.add_argument(
        "--out", type=Path, metavar="FILE", help="where to write; FILE-layout.svg if none"
    )
    nest.set_defaults(command=_nest)


def _add_ticket(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    ticket = commands.add_parser(
        "ticket",
        help="print a ticket, or write it as a PDF or a page",
        description="Print a ticket as text; with a file, write its sheet there instead.",
    )
    ticket.add_argument("number", help="the ticket's number, such as T000001")
    ticket.add_argument("--pdf", type=Path, metavar="FILE", help="write the sheet as a PDF of A4")
    ticket.add_argument("--html", type=Path, metavar="FILE", help="write it as an HTML page")
    ticket.set_defaults(command=_ticket)


def _add_simulate(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    year = commands.add_parser(
        "simulate",
        help="play an invented year of a shop and print whether its promises are kept",
        description="Draw a year of orders and what really happens to them, promise each as the "
        "service would, make them, and print how many promises were kept and how long they were. "
        "Nothing is kept but a picture of the loads. Takes some ten seconds for a year.",
    )
    year.add_argument("path", type=Path, nargs="?", help="catalogue; the demo shop if none")
    year.add_argument(
        "--days", type=_within(1, MOST_DAYS), default=365, help=f"days to play, 1 to {MOST_DAYS:,}"
    )
    year.add_argument(
        "--seed", type=_within(0, MOST_SEED), default=1, help="another number, another year"
    )
    year.add_argument(
        "--picture",
        type=Path,
        default=PICTURE,
        metavar="FILE",
        help=f"where the picture goes; {PICTURE} if none",
    )
    year.set_defaults(command=_simulate)


def _within(least: int, most: int) -> Callable[[str], int]:
    """Reads a whole number between those."""

    def read(text: str) -> int:
        if not text.isdecimal() or len(text) > len(str(most)) or not least <= int(text) <= most:
            raise argparse.ArgumentTypeError(f"a whole number from {least} to {most:,}")
        return int(text)

    return read


def _serve(options: argparse.Namespace) -> int:
    assembly = assemble(Settings())
    try:
        run_server(create_app(assembly), options.host, options.port)
    finally:
        assembly.close()
    return 0


def _worker(_: argparse.Namespace) -> int:
    assembly = assemble(Settings(), install_catalogue=False)
    try:
        asyncio.run(_send_until_told(assembly))
    finally:
        assembly.close()
    return 0


async def _send_until_told(assembly: Assembly) -> None:
    stop = asyncio.Event()
    loop = asyncio.get_running_loop()
    for told in (signal.SIGINT, signal.SIGTERM):
        loop.add_signal_handler(told, stop.set)
    sender = assembly.sender()
    await sender.run_forever(stop)
    await sender.aclose()


def _demo(options: argparse.Namespace) -> int:
    return play_demo(options.data, options.port, stay=not options.leave)


def _gallery(options: argparse.Namespace) -> int:
    shown = write_gallery(options.folder, px=options.px, only=options.only)
    print(f"{len(shown)} pictures; look at {options.folder / 'index.html'}")
    return 0


def _migrate(_: argparse.Namespace) -> int:
    url = _store_url(Settings())
    before = current_revision(url)
    upgrade(url)
    print(f"{before or 'empty'} -> {head_revision()}")
    return 0


def _store_url(settings: Settings) -> str:
    settings.data_dir.mkdir(parents=True, exist_ok=True)
    return settings.effective_database_url


def _open_store() -> Database:
    """The store for key work: the embedded one is made if missing."""
    url = _store_url(Settings())
    if url.startswith("sqlite"):
        upgrade(url)
    return Database.open(url)


def _keys_add(options: argparse.Namespace) -> int:
    database = _open_store()
    secret, key_id = random_key(), random_id("key")
    try:
        database.write(
            lambda session: new_key(
                session,
                holder=options.holder,
                scope=options.scope,
                label=options.label,
                now=utc_now(),
                secret=secret,
                key_id=key_id,
            )
        )
    finally:
        database.close()
    print(secret)
    print(f"{key_id}: scope {options.scope} for {options.holder}; shown this once", file=sys.stderr)
    return 0


def _keys_list(_: argparse.Namespace) -> int:
    database = _open_store()
    try:
        keys = database.read(list_keys)
    finally:
        database.close()
    for key in keys:
        ended = f"  withdrawn {rfc3339(key.revoked_at)}" if key.revoked_at else ""
        made = rfc3339(key.created_at)
        print(f"{key.id}  {key.scope:10}  {key.holder:24}  made {made}{ended}  {key.label}")
    return 0


def _keys_withdraw(options: argparse.Namespace) -> int:
    database = _open_store()
    try:
        key = database.write(lambda session: revoke_key(session, options.key_id, utc_now()))
    finally:
        database.close()
    print(f"{key.id} is withdrawn")
    return 0


def _catalogue_check(options: argparse.Namespace) -> int:
    path = options.path or demo_shop_path()
    try:
        loaded = load_catalogue(path)
    except CatalogueFaults as faulty:
        print(format_faults(faulty.faults))
        count = len(faulty.faults)
        print(f"{count} fault{'' if count == 1 else 's'}")
        return 1
    catalogue = loaded.catalogue
    print(
        f"{catalogue.shop.name}: {len(catalogue.blanks)} blanks, {len(catalogue.media)} media, "
        f"{len(catalogue.methods)} methods; version {loaded.version[:12]}; no faults"
    )
    return 0


def _catalogue_matrix(options: argparse.Namespace) -> int:
    loaded = load_catalogue(options.path or demo_shop_path())
    compiled = compile_catalogue(loaded.catalogue, loaded.version)
    matrix = matrix_of(compiled, SAMPLES[options.artwork])
    print(matrix_text(matrix))
    if options.html is not None:
        options.html.write_text(matrix_html(matrix), encoding="utf-8")
        print(f"Written as a page: {options.html}", file=sys.stderr)
    return 0


def _quote(options: argparse.Namespace) -> int:
    request = quote_request(options.file.read_bytes())
    assembly = assemble(Settings())
    try:
        priced = price_for_staff(assembly.services, request)
    finally:
        assembly.close()
    names = [f"{line.garment.name}, {line.garment.colour_name}" for line in priced.lines]
    print(build_up_text(priced.price, names))
    if request.rush or request.needed_by or request.hold_min:
        told = "No day is promised here, so 'rush', 'needed_by' and 'hold_min' change nothing."
        print(f"{told} POST /v1/quotes knows the days that rush gains.", file=sys.stderr)
    return 0


def _nest(options: argparse.Namespace) -> int:
    wish = NestWish(options.width, options.gap, options.margin, options.upright, options.thorough)
    out = layout_file(options.file, options.out)
    read, layout = nest_file(options.file, wish)
    write_layout(out, nest_svg(layout.placed, layout.width_um, layout.length_um))
    print(f"{layout_text(read, layout, wish)}\nwritten to {out}")
    return 0


def _ticket(options: argparse.Namespace) -> int:
    assembly = assemble(Settings(), install_catalogue=False)
    services = assembly.services
    try:
        paper, _ = ticket_paper(services, options.number, assembly.settings.public_url)
        if options.pdf is None and options.html is None:
            print(ticket_text(paper.number, paper.promised_day, paper.document))
            return 0
        # Without a stored catalogue the sheet says so where the pictures would be.
        with suppress(LookupError):
            services.catalogues.refresh()
        paper = with_pictures(services, paper, draw_proof, DRAWING_VERSION)
    finally:
        assembly.close()
    if options.pdf is not None:
        options.pdf.write_bytes(ticket_pdf(paper))
    if options.html is not None:
        options.html.write_text(ticket_page(paper).html, encoding="utf-8")
    return 0


def _simulate(options: argparse.Namespace) -> int:
    print(simulate(options.path, days=options.days, seed=options.seed, picture=options.picture))
    return 0


def _openapi(_: argparse.Namespace) -> int:
    print(json.dumps(describe(Settings()), indent=2, ensure_ascii=False))
    return 0
