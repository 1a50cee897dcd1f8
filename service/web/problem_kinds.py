"""Every kind of problem this service answers with: one constant table (RFC 9457 section 4).

A kind is named by its ``code``; its ``type`` is the public address of the page that explains it.
The wording of ``title`` is the same for each occurrence (RFC 9457 section 3.1.3).
"""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType

from service.web.learning_problems import LEARNING_KINDS
from service.web.problem_kind import ProblemKind
from service.web.stock_problems import STOCK_KINDS

_TABLE = (
    ProblemKind(
        "body-empty",
        400,
        "The request has no body",
        "The operation needs a JSON document, and none came.",
        "Send the document as the body, with Content-Type: application/json.",
    ),
    ProblemKind(
        "body-not-utf8",
        400,
        "The body is not UTF-8",
        "JSON between systems is UTF-8 (RFC 8259 section 8.1). The body holds bytes that are not.",
        "Encode the document as UTF-8 without a byte order mark.",
    ),
    ProblemKind(
        "body-not-json",
        400,
        "The body is not JSON",
        "The body does not follow the grammar of RFC 8259. NaN and Infinity are no JSON either.",
        "Use a JSON writer; the detail gives the line and column where reading stopped.",
    ),
    ProblemKind(
        "body-name-repeated",
        400,
        "A name stands twice in one object",
        "Readers disagree on which of two members of one name counts (RFC 7493 section 2.3), "
        "so none is taken.",
        "Send each name once.",
    ),
    ProblemKind(
        "body-number-refused",
        400,
        "A number cannot be carried safely",
        "Whole numbers beyond 2^53 - 1 and numbers too large for a double lose digits on the way "
        "(RFC 7493 section 2.2); NaN and Infinity are no JSON numbers (RFC 8259 section 6).",
        "Send a smaller number, or text where the field takes text.",
    ),
    ProblemKind(
        "body-too-deep",
        400,
        "The body is nested too deeply",
        "Objects and lists may lie inside each other 32 levels deep.",
        "Send the document as described for the operation; none needs that depth.",
    ),
    ProblemKind(
        "text-refused",
        400,
        "Text holds characters that cannot be kept",
        "U+0000 and lone surrogates cannot be stored or sent on as UTF-8 "
        "(RFC 7493 section 2.1 excludes surrogates).",
        "Remove those characters.",
    ),
    ProblemKind(
        "body-not-form",
        400,
        "The form cannot be read",
        "The body is not a well-formed multipart/form-data document, or has too many parts.",
        "Let an HTTP library build the form, boundary included.",
    ),
    ProblemKind(
        "idempotency-key-missing",
        400,
        "The Idempotency-Key header is missing",
        "The operation changes things and may be repeated after a lost answer, so each call "
        "carries a key of the caller's choosing.",
        "Send Idempotency-Key with a fresh UUID, and the same key when repeating the call.",
    ),
    ProblemKind(
        "idempotency-key-malformed",
        400,
        "The Idempotency-Key header cannot be used",
        "A key is 16 to 128 visible ASCII characters, bare or in double quotes, in one header.",
        "Send one Idempotency-Key header; a UUID fits.",
    ),
    ProblemKind(
        "precondition-malformed",
        400,
        "The If-Match header cannot be read",
        'If-Match holds * or a list of quoted entity tags (RFC 9110 section 13.1.1), as "7".',
        "Send the ETag of the last answer unchanged, quotes included.",
    ),
    ProblemKind(
        "cursor-refused",
        400,
        "The cursor cannot be used",
        "A cursor is taken from the previous page and belongs to the same filter and order.",
        "Start again without a cursor and follow the next link.",
    ),
    ProblemKind(
        "key-missing",
        401,
        "No key was sent",
        "The operation needs a key in the Authorization header, scheme Bearer.",
        "Send Authorization: Bearer followed by a key made with 'garment-intake keys'.",
    ),
    ProblemKind(
        "key-refused",
        401,
        "The key is not valid",
        "The key is unknown, has expired or was withdrawn; the three are not told apart.",
        "Ask the shop's owner for a new key.",
    ),
    ProblemKind(
        "scope-missing",
        403,
        "The key may not do this",
        "The key is valid, and its scope does not cover the operation.",
        "Use a key of one of the scopes named in the answer.",
    ),
    ProblemKind(
        "path-unknown",
        404,
        "There is nothing at this address",
        "No operation has this path. Paths are exact: a slash at the end makes another address.",
        "Compare the address with the API description.",
    ),
    ProblemKind(
        "not-found",
        404,
        "There is no such thing",
        "It does not exist, or it belongs to another caller; the two are not told apart.",
        "Check the identifier and the key used.",
    ),
    ProblemKind(
        "quote-not-found",
        404,
        "There is no such quote",
        "No quote of this caller has that id; another caller's is not told apart from none.",
        "Use the id from the answer to POST /v1/quotes, with the key that asked.",
    ),
    ProblemKind(
        "order-not-found",
        404,
        "There is no such order",
        "No order of this caller has that id; another caller's is not told apart from none.",
        "Use the id from the answer to POST /v1/orders, with a key of the same holder.",
    ),
    ProblemKind(
        "ticket-not-found",
        404,
        "There is no such ticket",
        "No ticket has that number.",
        "Numbers look like T000001; list them with GET /v1/tickets.",
    ),
    ProblemKind(
        "run-not-found",
        404,
        "There is no such run",
        "No run has that id.",
        "List runs with GET /v1/runs and use an id from there.",
    ),
    ProblemKind(
        "run-not-printed",
        404,
        "Nothing is printed for this run",
        "Its medium is only cut, so there is no print file.",
        "Use the layout of the run.",
    ),
    ProblemKind(
        "artwork-not-found",
        404,
        "There is no such artwork",
        "No artwork of this caller has that id; another caller's is not told apart from none.",
        "Use the id from the answer to POST /v1/artworks, with a key of the same holder.",
    ),
    ProblemKind(
        "rule-not-found",
        404,
        "There is no such rule",
        "No rule has that id.",
        "Use the id that a finding names as its rule, or list the rules with GET /v1/rules.",
    ),
    ProblemKind(
        "endpoint-not-found",
        404,
        "There is no such webhook endpoint",
        "It does not exist, was removed, or belongs to another caller; they are not told apart.",
        "List your endpoints, and use an id from there.",
    ),
    ProblemKind(
        "file-not-found",
        404,
        "The picture's file is not there",
        "The artwork is known, and the file store does not hold its bytes.",
        "Upload the picture again.",
    ),
    ProblemKind(
        "method-not-allowed",
        405,
        "The address does not take this method",
        "The path exists, and the method is not one of those in the Allow header.",
        "Use a method named in Allow.",
    ),
    ProblemKind(
        "conflict",
        409,
        "The present state forbids it",
        "The thing is in a state in which this cannot be done.",
        "Read it again and decide anew.",
    ),
    ProblemKind(
        "quote-already-accepted",
        409,
        "The quote was accepted before",
        "A quote becomes one order; 'order_id' names it.",
        "Ask for a new quote to order the same again.",
    ),
    ProblemKind(
        "promise-slipped",
        409,
        "The promised day can no longer be kept",
        "Since the quote was given others took the station time or the material that its day "
        "needs. Nothing was accepted. 'new_day' is the earliest day now.",
        "Ask for a new quote; it promises the new day.",
    ),
    ProblemKind(
        "too-many-holds",
        409,
        "You hold station time for as many quotes as may be",
        "A holder holds for so many quotes at a time, so that nobody holds the whole shop. "
        "'next_ends_at' says when the first of them ends.",
        "Accept a quote, ask without a hold, or ask again when one has ended.",
    ),
    ProblemKind(
        "order-in-work",
        409,
        "Work on the order has begun",
        "An order is cancelled here only while none of its tickets has been begun.",
        "Call the shop.",
    ),
    ProblemKind(
        "order-already-cancelled",
        409,
        "The order was cancelled before",
        "There is nothing left to cancel.",
        "Nothing needs to be done.",
    ),
    ProblemKind(
        "move-not-legal",
        409,
        "The ticket cannot make this move",
        "Each state of a ticket has its own moves; 'legal_moves' lists those open to it now.",
        "Choose one of the legal moves, or read the ticket again.",
    ),
    ProblemKind(
        "bench-work-not-legal",
        409,
        "The ticket is not where this can be done",
        "Pieces are entered and remakes opened on the bench, steps ticked until the ticket is "
        "sent; 'legal_states' lists where, 'legal_moves' what is open to the ticket now.",
        "Move the ticket first, or read it again.",
    ),
    ProblemKind(
        "piece-limit",
        409,
        "There are not so many pieces",
        "No more pieces are done than are wanted, no more used than there are blanks, and no more "
        "taken back than were entered. 'limit' is the most that can be entered now.",
        "Enter fewer, or read the ticket again: someone else may have entered them.",
    ),
    ProblemKind(
        "nothing-to-remake",
        409,
        "No piece is to be made anew",
        "The ticket has a blank at hand for every piece still to come.",
        "Enter the spoiled pieces first.",
    ),
    ProblemKind(
        "run-not-legal",
        409,
        "This cannot be done to the run now",
        "Each state of a run has its own acts; 'legal_acts' lists those open to it now.",
        "Choose one of the legal acts, or read the run again.",
    ),
    ProblemKind(
        "run-ticket-taken",
        409,
        "A ticket of the run is no longer free",
        "Since it was proposed a ticket was put on another run, printed, cut or cancelled. "
        "Nothing was booked. 'tickets' lists those it is about.",
        "Propose runs anew.",
    ),
    ProblemKind(
        "endpoint-disabled",
        409,
        "The webhook endpoint is disabled",
        "Nothing is sent to a disabled endpoint.",
        "Register the address anew; what happens from then on is told there.",
    ),
    ProblemKind(
        "delivery-in-progress",
        409,
        "The delivery is being sent just now",
        "An attempt is running, and its outcome is not known yet.",
        "Look at the delivery again in a minute.",
        retry_after_s=60,
    ),
    ProblemKind(
        "too-many-endpoints",
        409,
        "There are as many webhook endpoints as one caller may have",
        "The number of live endpoints of one caller is limited; the detail names the limit.",
        "Disable or remove one first.",
    ),
    ProblemKind(
        "idempotency-key-in-progress",
        409,
        "The first call with this key is still running",
        "A call with the same Idempotency-Key has begun and not ended.",
        "Repeat the call after the time in Retry-After; the finished answer is then replayed.",
        retry_after_s=1,
    ),
    ProblemKind(
        "quote-not-recomputable",
        409,
        "The quote cannot be recomputed",
        "It was given before what prices are reckoned from was kept with them. It stands as told.",
        "Ask for a new quote where a recomputed one is needed.",
    ),
    ProblemKind(
        "gone",
        410,
        "Its time is over",
        "It was there, and can no longer be used.",
        "Ask for a new one.",
    ),
    ProblemKind(
        "quote-expired",
        410,
        "The quote has expired",
        "A quote stands for a while; 'expired_at' says until when this one did.",
        "Ask for a new quote.",
    ),
    ProblemKind(
        "ticket-changed",
        412,
        "The ticket changed since it was read",
        "Someone moved it or entered something; the detail says who and what. Nothing was done.",
        "Read the ticket again, decide anew and send its new ETag.",
    ),
    ProblemKind(
        "run-changed",
        412,
        "The run changed since it was read",
        "Someone accepted, dissolved or reprinted it; the detail says who. Nothing was done.",
        "Read the run again, decide anew and send its new ETag.",
    ),
    ProblemKind(
        "precondition-failed",
        412,
        "It has changed since it was read",
        "The entity tag in If-Match is not that of the present state (strong comparison, "
        "RFC 9110 section 13.1.1), so nothing was done.",
        "Read it again, decide anew and send the new ETag.",
    ),
    ProblemKind(
        "body-too-large",
        413,
        "The body is too large",
        "The body is longer than the operation takes.",
        "Send less at a time.",
    ),
    ProblemKind(
        "media-type-unsupported",
        415,
        "The body's media type is not supported",
        "The operation takes the media type named in the detail, uncompressed.",
        "Set Content-Type to that media type.",
    ),
    ProblemKind(
        "fields-refused",
        422,
        "Some fields cannot be used",
        "The document was read, and each field listed in 'errors' breaks a rule given there.",
        "Correct the listed fields and send the document again.",
    ),
    ProblemKind(
        "input-refused",
        422,
        "The request cannot be carried out as it stands",
        "The request is understood, and what it asks for cannot be done.",
        "Follow the detail.",
    ),
    ProblemKind(
        "picture-refused",
        422,
        "The picture cannot be used",
        "The upload is no picture this shop can measure: of another kind, too large, broken, "
        "moving or empty, or a drawing that holds what is not read. 'errors' says which.",
        "Save the artwork as a still PNG, JPEG, WebP or TIFF, or as SVG with text turned into "
        "outlines, within the limits named, and upload that.",
    ),
    ProblemKind(
        "cannot-be-made",
        422,
        "It cannot be made as asked",
        "A rule blocks at least one decoration. 'check' holds the findings, the choices that "
        "clash and the nearest choices that work.",
        "Take one of the alternatives, or change one choice of each clash.",
    ),
    ProblemKind(
        "more-than-the-shop-can-make",
        422,
        "It does not fit the days the shop plans ahead",
        "The work asked for is more than the stations can do within the planning horizon.",
        "Ask for fewer pieces, or split the order over time.",
    ),
    ProblemKind(
        "idempotency-key-reused",
        422,
        "The Idempotency-Key was used for another request",
        "A key stands for one request; this one differs from the first that carried it.",
        "Make a fresh key for each new request.",
    ),
    ProblemKind(
        "precondition-missing",
        428,
        "The If-Match header is missing",
        "The operation changes something that others may change too, so it needs the ETag of the "
        "state that was read (RFC 6585 section 3).",
        "Read the thing, and send its ETag as If-Match.",
    ),
    ProblemKind(
        "internal-fault",
        500,
        "The service failed",
        "A fault of the service, not of the request. Nothing more is told here; the service's log "
        "holds it under the request's id.",
        "Try again later; if it stays, give the shop the id in 'instance'.",
    ),
    ProblemKind(
        "unavailable",
        503,
        "It cannot be done just now",
        "The service or something that it needs is busy or away.",
        "Repeat the call after the time in Retry-After.",
    ),
    ProblemKind(
        "pictures-waiting",
        503,
        "Too many pictures are waiting",
        "Pictures are worked on one after the other, and the queue is full.",
        "Send it again after the time in Retry-After.",
    ),
    ProblemKind(
        "picture-room-away",
        503,
        "Pictures cannot be worked on just now",
        "What works on pictures is starting anew or ended; nothing was kept.",
        "Send it again after the time in Retry-After.",
    ),
    ProblemKind(
        "store-unavailable",
        503,
        "The store cannot be reached just now",
        "Orders and quotes are kept in a store that is busy or away; nothing was changed.",
        "Repeat the call after the time in Retry-After, with the same Idempotency-Key.",
    ),
)

KINDS: Mapping[str, ProblemKind] = MappingProxyType(
    {
        kind.code: kind
        for kind in sorted((*_TABLE, *STOCK_KINDS, *LEARNING_KINDS), key=lambda one: one.status)
    }
)
"""Every kind by its code, ordered by status."""
