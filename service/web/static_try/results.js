// Shows answers: problems, checks, quotes, and the list of what was sent.

import { byId, joined, make, ruleLink, swatch } from "./elements.js";

const MOST_SENT = 40;

/** A problem document: title, detail, what is wrong with each field, and where the way out is told. */
export function problemBox({ title, detail, type, errors = [], wait }, again) {
  const faults = errors.map((fault) =>
    make("li", {}, make("code", {}, fault.pointer ?? fault.parameter ?? fault.header ?? "request"), `: ${fault.detail}`));
  const code = /\/problems\/([a-z-]+)$/.exec(type ?? "")?.[1];
  const box = make("div", { className: "problem" }, make("p", {}, make("strong", {}, title)), make("p", {}, detail ?? ""));
  if (faults.length) box.append(make("ul", {}, ...faults));
  if (wait) box.append(make("p", {}, `Try again in ${wait} s.`));
  if (code) box.append(make("p", {}, make("a", { href: `problems/${code}` }, "What to do about it")));
  if (again) box.append(button("Try again", again));
  return box;
}

/** The verdict on the one decoration of the page; `apply(alternative)` takes one over. */
export function checkView(decoration, apply) {
  const { candidates, conflicts, repairs, alternatives } = decoration;
  const shown = [];
  if (decoration.nothing_works) shown.push(make("p", {}, "This shop has no way to make this artwork: ", ...rules(decoration.ruled_out_by)));
  const [first, ...others] = candidates;
  if (first) shown.push(candidateView(first, decoration.trade_offs[first.method] ?? []));
  if (conflicts.length) shown.push(heading("What cannot all hold"), make("ul", {}, ...conflicts.map(conflictItem)));
  if (repairs.length) shown.push(make("p", {}, `Enough to change: ${repairs.map(named).join("; or ")}.`));
  if (alternatives.length) shown.push(heading("Nearest that work"), ...alternatives.map((one) => wayOut(one, apply)));
  if (others.length) {
    const views = others.map((one) => candidateView(one, decoration.trade_offs[one.method] ?? []));
    shown.push(make("details", {}, make("summary", {}, `${others.length} other methods were tried`), ...views));
  }
  return shown;
}

/** One sentence on a verdict. */
export function verdictWords(decoration) {
  const first = decoration.candidates[0];
  if (decoration.works) return `Works: ${first.name}. Predicted look: ${first.look.band}.`;
  const blocks = first ? first.findings.filter(({ severity }) => severity === "blocks").length : 0;
  const ways = decoration.alternatives.length;
  return `Refused: ${counted(blocks, "reason")} against ${first?.name ?? "it"}, ${counted(ways, "way")} out.`;
}

/** A quote that was made. */
export function quoteView(quote) {
  const prices = quote.lines.flatMap((line) => Object.entries(line.unit_prices).map(([size, price]) =>
    make("li", {}, `${size}: ${line.pieces_by_size[size]} at ${price.per_piece} ${price.currency}, ${money(line.totals_by_size[size])} in all`)));
  return [
    make("p", { className: "price" }, money(quote.total)),
    make("ul", {}, ...prices),
    make("p", {}, "Leaves the shop on ", make("strong", {}, quote.promise.day), ` (${quote.promise.time_zone}): ${quote.promise.reason}`),
    ...(quote.promise.rush_days ? [make("p", {}, `Rush gains ${counted(quote.promise.rush_days, "working day")}.`)] : []),
    ...neededView(quote.needed_by),
    make("p", { className: "note" }, "Quote ", make("code", {}, quote.id), ` stands until ${quote.expires_at}.`),
  ];
}

/** Whether the day that is needed can be had, and what would help. */
function neededView(needed) {
  if (!needed) return [];
  const can = { yes: "can be had", rush: "can be had with rush", no: "cannot be had" }[needed.answer];
  const price = needed.answer === "yes" ? "" : ` The nearest day is ${needed.nearest_day}, for ${money(needed.nearest_total)}.`;
  return [
    make("p", { className: needed.answer === "no" ? "refused" : "works" }, `${needed.day} ${can}.${price}`),
    make("ul", {}, ...needed.ways.map((way) => make("li", {}, way))),
  ];
}

/** Put a request on top of the list of those that were sent. */
export function showSent(entry) {
  const summary = make("summary", {});
  const details = make("details", {}, summary);
  const fill = () => {
    const time = entry.ms === null ? "" : ` ${entry.ms} ms`;
    const path = entry.path.split("?")[0];
    summary.replaceChildren(make("code", {}, `${entry.method} ${path}`), ` ${entry.status}${time}`);
    const parts = [summary, textPart("Sent", `${entry.method} ${entry.path}${entry.body && `\n\n${entry.body}`}`),
      textPart("As a shell command", entry.curl)];
    if (entry.answer) parts.push(textPart("Answer", entry.answer));
    details.replaceChildren(...parts);
  };
  fill();
  entry.told = fill;
  const list = byId("sent");
  list.prepend(make("li", {}, details));
  while (list.children.length > MOST_SENT) list.lastElementChild.remove();
}

function textPart(title, text) {
  const shown = make("pre", { tabIndex: 0 }, text);
  const told = make("span", { role: "status" });
  const copy = button("Copy", async () => {
    try {
      await navigator.clipboard.writeText(text);
      told.textContent = " Copied.";
    } catch {
      // Without the right to the clipboard the text is marked, to be copied by hand.
      getSelection().selectAllChildren(shown);
      told.textContent = " Marked: copy it by keyboard.";
    }
  });
  copy.ariaLabel = `Copy: ${title}`;
  return make("div", {}, make("p", {}, `${title} `, copy, told), shown);
}

function candidateView(candidate, tradeOffs) {
  const { look } = candidate;
  const verdict = make("span", { className: candidate.works ? "works" : "refused" }, candidate.works ? "works" : "refused");
  const pairs = look.colours.flatMap((one) => [swatch(one.wanted, "swatch wide"), "→", swatch(one.predicted, "swatch wide"), " "]);
  const words = look.colours.map((one) => `${one.wanted} becomes ${one.predicted}`).join(", ");
  const colours = make("span", { role: "img", ariaLabel: words, title: words }, ...pairs);
  return make("div", {}, make("h4", {}, `${candidate.name}: `, verdict),
    make("p", {}, `To the touch: ${candidate.feel}. Predicted look: ${look.band}, mean colour difference ${look.mean_delta_e} (CIEDE2000). `, colours),
    ...tradeOffs.map(({ words }) => make("p", { className: "note" }, words)),
    ...candidate.findings.filter((one) => !isNote(one)).map(findingView), ...folded(candidate.findings.filter(isNote)));
}

function folded(notes) {
  if (!notes.length) return [];
  return [make("details", {}, make("summary", {}, counted(notes.length, "note")), ...notes.map(findingView))];
}

function findingView(finding) {
  const size = finding.size ? `, size ${finding.size}` : "";
  return make("div", { className: `finding ${finding.severity}` },
    make("p", {}, make("span", { className: "severity" }, finding.severity), ` ${finding.reason}`),
    make("p", { className: "note" }, "Rule ", ruleLink(finding.rule),
      `${size}. Measured ${rounded(finding.measured)}, limit ${rounded(finding.limit)} (${finding.unit}).`));
}

function conflictItem(conflict) {
  return make("li", {}, `${named(conflict.choices)}: ${conflict.because} (rule `, ...rules(conflict.rules), ")");
}

function wayOut(alternative, apply) {
  const use = button(`Change ${alternative.changes.map((choice) => change(choice, alternative)).join(" and ")}`, () => apply(alternative));
  use.className = "apply";
  return make("div", { className: "way" }, make("p", {}, alternative.because), use);
}

/** What an alternative changes and to what, by the ids that a request would name. */
function change(choice, alternative) {
  const name = named([choice]);
  if (choice === "width_mm") return `${name} to ${rounded(alternative.width_mm)} mm`;
  if (choice === "consents") return `${name} to ${alternative.consents.join(" and ") || "none"}`;
  if (choice === "sizes") return `${name} to ${Object.entries(alternative.sizes).map(([size, count]) => `${count} x ${size}`).join(", ")}`;
  return `${name} to ${alternative[choice] ?? "the shop's choice"}`;
}

const heading = (text) => make("h4", {}, text);
const isNote = ({ severity }) => severity === "notes";
const rules = (ids) => joined(ids.map((id) => ruleLink(id)));
const named = (choices) => choices.map((choice) => choice.replace(/_mm$/, "").replaceAll("_", " ")).join(" and ");
const counted = (count, word) => `${count} ${word}${count === 1 ? "" : "s"}`;
const rounded = (value) => (typeof value === "number" ? Math.round(value * 100) / 100 : value);

function button(text, act) {
  const made = make("button", { type: "button" }, text);
  made.addEventListener("click", act);
  return made;
}

/** Minor units as a decimal, without floating point. */
function money({ amount, currency }) {
  const digits = new Intl.NumberFormat("en", { style: "currency", currency }).resolvedOptions().maximumFractionDigits;
  const text = String(amount).padStart(digits + 1, "0");
  const whole = text.slice(0, text.length - digits);
  return `${digits ? `${whole}.${text.slice(-digits)}` : whole} ${currency}`;
}
