// The try page: what is chosen, when to ask, and where answers go.

import { call, Latest, onSent, Refused, useKey } from "./calls.js";
import { Group, showWidths, Sizes } from "./choices.js";
import { byId, make } from "./elements.js";
import { checkView, problemBox, quoteView, showSent, verdictWords } from "./results.js";

const PAUSE_MS = 250;
const PROOF_PX = 1000;
const ASK_KEY = "Give a key to begin.";

const chosen = {
  artwork_id: "", blank: "", colour: "", placement: "", method: "", film_colour: "", width_mm: "", sizes: {}, consents: [],
};
const latest = { key: new Latest(), artwork: new Latest(), choices: new Latest(), check: new Latest(), proof: new Latest(), quote: new Latest() };
let catalogue = null;
let pause = 0;
let quoted = "";
let picture = "";

const groups = [...document.querySelectorAll("[data-attribute]")].map((field) => new Group(field, choose));
const sizes = new Sizes((size, count) => {
  chosen.sizes[size] = count;
  changed();
});

function choose(attribute, id) {
  chosen[attribute] = id;
  changed();
}

/** Ask anew, soon: what is typed or clicked in a row asks once. */
function changed() {
  clearTimeout(pause);
  pause = setTimeout(refresh, PAUSE_MS);
  if (byId("quote").hasChildNodes() && quoted !== wishText()) markQuoteStale();
}

function refresh() {
  clearTimeout(pause);
  guarded("choices", askChoices, "choices-problem");
  const missing = missingWords();
  if (missing.length) {
    say(`Still open: ${missing.join(", ")}.`);
    latest.check.stop();
    byId("check").replaceChildren(make("p", { className: "note" }, "A check needs the rest first."));
  } else {
    guarded("check", askCheck, "check", "Checking ...");
  }
  if (chosen.artwork_id && chosen.blank && chosen.colour && chosen.placement && chosen.width_mm) {
    guarded("proof", askProof, "proof");
  } else {
    latest.proof.stop();
    dropPicture();
    byId("proof").replaceChildren(make("p", { className: "note" }, "A picture needs artwork, blank, colour, placement and width."));
  }
  byId("quote-ask").ariaDisabled = String(missing.length > 0);
}

/** Do work whose answer alone counts; what is refused is shown in `place`. */
async function guarded(name, work, place, words) {
  if (words) say(words);
  try {
    await latest[name].run(work);
  } catch (error) {
    if (!(error instanceof Refused)) throw error;
    if (error.status === 401) askKeyAgain(error.problem);
    else showRefusal(byId(place), error.problem, name);
  }
}

function showRefusal(place, problem, name) {
  if (place.id === "proof") dropPicture();
  place.replaceChildren(problemBox(problem, name in retries ? retries[name] : undefined));
  if (name !== "proof") say(`${problem.title}.`, "refused");
}

const retries = { choices: refresh, check: refresh, proof: refresh };

function say(text, kind = "") {
  const status = byId("status");
  status.className = `status ${kind}`;
  status.textContent = text;
}

// The key

async function begin(signal) {
  const shop = await call("GET /v1/catalogue", { signal });
  if (signal.aborted) return;
  catalogue = shop;
  byId("shop-line").textContent = `${shop.shop}${shop.invented ? " (an invented shop)" : ""}, prices in ${shop.currency}.`;
  byId("key-problem").replaceChildren();
  showKeyUsed(true);
  if (shop.invented) await offerDemoArtworks(signal);
  if (!signal.aborted) refresh();
}

function showKeyUsed(used) {
  byId("key-form").hidden = used;
  byId("key-used").hidden = !used;
  byId("wish").hidden = !used;
  byId("panels").hidden = !used;
  byId(used ? "key-forget" : "key").focus();
}

function askKeyAgain(problem) {
  leave();
  byId("key-problem").replaceChildren(problemBox(problem));
  say("The key was refused: give another.", "refused");
}

/** Forget the key and whatever it opened. */
function leave() {
  useKey("");
  clearTimeout(pause);
  for (const one of Object.values(latest)) one.stop();
  dropPicture();
  for (const id of ["proof", "check", "quote", "sent", "choices-problem", "artwork-problem"]) byId(id).replaceChildren();
  byId("artwork").replaceChildren(make("option", { value: "" }, "none yet"));
  byId("artwork-note").textContent = "";
  byId("shop-line").textContent = "";
  chosen.artwork_id = "";
  showKeyUsed(false);
  say(ASK_KEY);
}

// Artworks

/** Offer the demonstration artworks if the key may see the first of them. */
async function offerDemoArtworks(signal) {
  const ids = byId("artwork").dataset.demoIds.split(" ");
  try {
    await call("GET /v1/artworks/{artwork_id}", { ids: { artwork_id: ids[0] }, signal });
  } catch (error) {
    if (error instanceof Refused && error.status === 404) return;
    throw error;
  }
  for (const id of ids) addArtwork(id);
  useArtwork(ids[0]);
}

function addArtwork(id) {
  const list = byId("artwork");
  if (![...list.options].some((option) => option.value === id)) list.append(make("option", { value: id }, id));
}

function useArtwork(id) {
  byId("artwork").value = id;
  chosen.artwork_id = id;
  byId("artwork-note").textContent = "";
  byId("artwork-problem").replaceChildren();
}

function showArtwork(artwork) {
  addArtwork(artwork.id);
  useArtwork(artwork.id);
  const rights = artwork.rights_declared ? "rights declared" : "no rights declared";
  const remarks = artwork.preflight.filter(({ level }) => level !== "good").map(({ words }) => words);
  byId("artwork-note").textContent = [`${artwork.width_px} × ${artwork.height_px} pixels, ${rights}.`, ...remarks].join(" ");
  changed();
}

async function upload(signal) {
  const file = byId("file").files[0];
  if (!file) {
    byId("artwork-problem").replaceChildren(make("p", { className: "refused" }, "Choose a picture file first."));
    byId("file").focus();
    return;
  }
  say("Uploading ...");
  const form = { file, rights: byId("rights").checked };
  const artwork = await call("POST /v1/artworks", { form, signal });
  if (!signal.aborted) showArtwork(artwork);
}

async function lookUpArtwork(id, signal) {
  const artwork = await call("GET /v1/artworks/{artwork_id}", { ids: { artwork_id: id }, signal });
  if (!signal.aborted) showArtwork(artwork);
}

// Choices, check, proof, quote

function shared() {
  const { blank, colour, placement, film_colour, width_mm, method } = chosen;
  const named = Object.entries({ blank, colour, placement, method, film_colour, width_mm }).filter(([, value]) => value !== "");
  return [...named, ...chosen.consents.map((one) => ["consent", one])];
}

const counts = () => Object.entries(chosen.sizes).filter(([, count]) => count !== "" && Number(count) !== 0);

async function askChoices(signal) {
  const query = [...shared(), ...counts().map(([size]) => ["size", size])];
  if (chosen.artwork_id) query.push(["artwork_id", chosen.artwork_id]);
  const answer = await call("GET /v1/choices", { query, signal });
  if (signal.aborted) return;
  byId("choices-problem").replaceChildren();
  const values = new Map(answer.attributes.map((one) => [one.attribute, one.values]));
  keepOfferedSizes(values.get("size"));
  for (const group of groups) group.update(values.get(group.attribute), chosen[group.attribute], colours(group.attribute));
  sizes.update(values.get("size"), chosen.sizes);
  showWidths(answer.widths);
}

/** Drop numbers of sizes that the blank lacks; a blank without a number begins with one piece. */
function keepOfferedSizes(values) {
  const offered = values.map(({ id }) => id);
  if (!offered.length) return;
  const dropped = Object.keys(chosen.sizes).filter((size) => !offered.includes(size));
  for (const size of dropped) delete chosen.sizes[size];
  if (Object.keys(chosen.sizes).length) {
    if (dropped.length) changed();
    return;
  }
  chosen.sizes[offered[Math.floor((offered.length - 1) / 2)]] = "1";
  changed();
}

function colours(attribute) {
  if (attribute === "film_colour") {
    return byColourId(catalogue.methods.flatMap((method) => Object.values(method.film_colours).flat()));
  }
  if (attribute !== "colour") return new Map();
  const mine = catalogue.blanks.filter(({ id }) => id === chosen.blank);
  return byColourId([...catalogue.blanks, ...mine].flatMap((blank) => blank.colours));
}

const byColourId = (list) => new Map(list.map(({ id, srgb }) => [id, srgb]));

function missingWords() {
  const needed = { artwork: chosen.artwork_id, blank: chosen.blank, colour: chosen.colour, placement: chosen.placement, width: chosen.width_mm };
  const missing = Object.entries(needed).filter(([, value]) => value === "").map(([name]) => name);
  return counts().length ? missing : [...missing, "how many of a size"];
}

/** The body of a check and of a quote. */
function wish() {
  const { blank, colour, placement, artwork_id, width_mm, film_colour } = chosen;
  const decoration = { placement, artwork_id, width_mm: Number(width_mm), method: chosen.method || "any" };
  if (film_colour) decoration.film_colour = film_colour;
  if (chosen.consents.length) decoration.consents = chosen.consents;
  const pieces = Object.fromEntries(counts().map(([size, count]) => [size, Number(count)]));
  return { lines: [{ blank, colour, sizes: pieces, decorations: [decoration] }] };
}

/** The body of a quote: the wish, and what is wished of its day. */
function quoteWish() {
  const body = wish();
  if (byId("needed-by").value) body.needed_by = byId("needed-by").value;
  if (byId("rush").checked) body.rush = true;
  return body;
}

const wishText = () => JSON.stringify(quoteWish());

async function askCheck(signal) {
  const answer = await call("POST /v1/checks", { body: wish(), signal });
  if (signal.aborted) return;
  const decoration = answer.lines[0].decorations[0];
  byId("check").replaceChildren(...checkView(decoration, apply));
  say(verdictWords(decoration), decoration.works ? "works" : "refused");
}

async function askProof(signal) {
  if (!picture) byId("proof").replaceChildren(make("p", { className: "note" }, "Drawing ..."));
  const query = [...shared(), ["px", PROOF_PX]];
  const size = counts()[0];
  if (size) query.push(["size", size[0]]);
  const drawn = await call("GET /v1/artworks/{artwork_id}/proof", { ids: { artwork_id: chosen.artwork_id }, query, signal });
  if (signal.aborted) return;
  dropPicture();
  picture = URL.createObjectURL(drawn);
  const names = [chosen.blank, chosen.colour, chosen.placement, `${chosen.width_mm} mm`].join(", ");
  const shown = make("img", { src: picture, alt: `Predicted look of ${chosen.artwork_id} on ${names}; no guarantee` });
  const whole = make("a", { href: picture, target: "_blank", rel: "noopener" }, "Open it at full size");
  byId("proof").replaceChildren(shown, make("p", {}, whole));
}

function dropPicture() {
  if (picture) URL.revokeObjectURL(picture);
  picture = "";
}

async function askQuote(signal) {
  const body = quoteWish();
  const place = byId("quote");
  place.replaceChildren(make("p", {}, "Asking for a quote ..."));
  const quote = await call("POST /v1/quotes", { body, signal });
  if (signal.aborted) return;
  quoted = JSON.stringify(body);
  place.replaceChildren(...quoteView(quote));
  if (quoted !== wishText()) markQuoteStale();
}

function markQuoteStale() {
  const place = byId("quote");
  if (place.querySelector(".stale")) return;
  place.prepend(make("p", { className: "stale refused" }, "This was for an earlier selection."));
}

/** Take an alternative over, as it stands. */
function apply(alternative) {
  const { blank, colour, placement, method, film_colour: film } = alternative;
  Object.assign(chosen, { blank: blank ?? "", colour: colour ?? "", placement, method, film_colour: film ?? "" });
  chosen.width_mm = String(alternative.width_mm);
  chosen.sizes = Object.fromEntries(Object.entries(alternative.sizes).map(([size, count]) => [size, String(count)]));
  chosen.consents = [...alternative.consents];
  showChosen();
  byId("results").focus();
  refresh();
}

/** Put what is chosen into the fields. */
function showChosen() {
  for (const group of groups) group.pick(chosen[group.attribute]);
  sizes.pick(chosen.sizes);
  byId("width").value = chosen.width_mm;
  for (const box of document.querySelectorAll(".consent")) box.checked = chosen.consents.includes(box.value);
}

function listen(id, event, act) {
  byId(id).addEventListener(event, act);
}

onSent(showSent);
listen("key-form", "submit", (event) => {
  event.preventDefault();
  useKey(byId("key").value.trim());
  byId("key").value = "";
  guarded("key", begin, "key-problem", "Trying the key ...");
});
listen("key-forget", "click", leave);
listen("wish", "submit", (event) => event.preventDefault());
listen("artwork", "change", () => {
  useArtwork(byId("artwork").value);
  changed();
});
listen("upload", "click", () => guarded("artwork", upload, "artwork-problem"));
listen("artwork-add", "click", () => {
  const id = byId("artwork-id").value.trim();
  if (id) guarded("artwork", (signal) => lookUpArtwork(id, signal), "artwork-problem");
});
listen("width", "input", () => choose("width_mm", byId("width").value));
for (const box of document.querySelectorAll(".consent")) {
  box.addEventListener("change", () => {
    const ticked = [...document.querySelectorAll(".consent:checked")];
    choose("consents", ticked.map(({ value }) => value));
  });
}
listen("clear", "click", () => {
  Object.assign(chosen, { blank: "", colour: "", placement: "", method: "", film_colour: "", sizes: {}, consents: [] });
  showChosen();
  refresh();
});
for (const id of ["needed-by", "rush"]) {
  listen(id, "change", () => {
    if (byId("quote").hasChildNodes() && quoted && quoted !== wishText()) markQuoteStale();
  });
}
listen("quote-ask", "click", () => {
  const missing = missingWords();
  if (missing.length) say(`Still open: ${missing.join(", ")}.`);
  else guarded("quote", askQuote, "quote");
});
chosen.width_mm = byId("width").value;
showChosen();
