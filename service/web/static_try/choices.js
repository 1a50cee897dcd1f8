// The groups of choices, and how they grey out.

import { byId, joined, make, ruleLink, swatch } from "./elements.js";

const NOT_OFFERED = "not offered with the rest of the selection";
// What a blank or a film comes with: where it is not offered, it is left out of sight.
const HIDDEN_WHEN_NOT_OFFERED = new Set(["colour", "placement", "film_colour"]);

/** The fieldset of an attribute with one radio button for each value, and one that leaves it open. */
export class Group {
  #field;
  #chips = new Map();
  #changed;

  /** `changed(attribute, id)` is called when one is picked; an empty id leaves it open. */
  constructor(field, changed) {
    this.#field = field;
    this.#changed = changed;
    this.attribute = field.dataset.attribute;
  }

  /** Show what of the `values` of GET /v1/choices still leads somewhere; `srgbs` gives colours by id. */
  update(values, picked, srgbs) {
    if (this.#chips.size !== values.length + 1 || values.some(({ id }) => !this.#chips.has(id))) this.#build(values);
    this.pick(picked);
    for (const value of values) this.#mark(value, value.id === picked, srgbs.get(value.id));
    showWhy(this.#field.querySelector(".why"), values, picked);
  }

  /** Put the mark on a value without telling anyone. */
  pick(id) {
    const chip = this.#chips.get(id) ?? this.#chips.get("");
    if (chip) chip.input.checked = true;
  }

  #build(values) {
    const open = { id: "", name: this.#field.dataset.open };
    this.#chips = new Map([open, ...values].map((value) => [value.id, this.#chip(value)]));
    const labels = [...this.#chips.values()].map(({ label }) => label);
    this.#field.querySelector(".chips").replaceChildren(...labels);
  }

  #chip({ id, name }) {
    const input = make("input", { type: "radio", name: this.attribute, value: id });
    const reason = make("span", { id: `why-${this.attribute}-${id}`, hidden: true });
    input.setAttribute("aria-describedby", reason.id);
    const dot = swatch("");
    dot.hidden = true;
    const nowhere = make("span", { className: "unseen", hidden: true }, " (leads nowhere)");
    const label = make("label", { className: "chip" }, input, dot, make("span", { className: "name" }, name), nowhere, reason);
    input.addEventListener("change", () => this.#changed(this.attribute, id));
    return { label, input, reason, nowhere, dot };
  }

  #mark(value, picked, srgb) {
    const { label, reason, nowhere, dot } = this.#chips.get(value.id);
    const why = value.possible ? "" : reasonOf(value);
    label.classList.toggle("greyed", !value.possible);
    label.title = why;
    label.hidden = why === NOT_OFFERED && !picked && HIDDEN_WHEN_NOT_OFFERED.has(this.attribute);
    reason.textContent = why;
    nowhere.hidden = value.possible;
    dot.hidden = srgb === undefined;
    if (srgb) dot.style.backgroundColor = srgb;
  }
}

/** The sizes of the chosen blank, each with a number of pieces. */
export class Sizes {
  #changed;
  #known = "";

  /** `changed(size, count)` is called with each number that is put in. */
  constructor(changed) {
    this.#changed = changed;
  }

  /** Show the sizes; `counts` gives the pieces of each. */
  update(values, counts) {
    const known = values.map(({ id }) => id).join("\n");
    if (known !== this.#known) this.#build(values, counts);
    this.#known = known;
    for (const value of values) {
      const label = this.#input(value.id).parentElement;
      label.classList.toggle("greyed", !value.possible);
      label.title = value.possible ? "" : reasonOf(value);
    }
    showWhy(byId("size-why"), values, "");
  }

  /** Put the numbers in. */
  pick(counts) {
    for (const input of byId("sizes").querySelectorAll("input")) input.value = counts[input.dataset.size] ?? "";
  }

  #input(id) {
    return [...byId("sizes").querySelectorAll("input")].find((input) => input.dataset.size === id);
  }

  #build(values, counts) {
    const labels = values.map(({ id, name }) => {
      const input = make("input", { type: "number", min: 0, step: 1, inputMode: "numeric", value: counts[id] ?? "" });
      input.dataset.size = id;
      input.addEventListener("input", () => this.#changed(id, input.value));
      return make("label", { className: "size" }, make("span", { className: "name" }, name), input);
    });
    const none = make("p", { className: "note" }, "Choose a blank first.");
    byId("sizes").replaceChildren(...(labels.length ? labels : [none]));
  }
}

/** Write which widths lead somewhere. */
export function showWidths(widths) {
  const ranges = widths.map(({ least_mm: least, greatest_mm: greatest }) =>
    greatest === null ? `${up(least)} mm and more` : `${up(least)} to ${down(greatest)} mm`);
  byId("width-note").textContent = ranges.length
    ? `Leads somewhere: ${ranges.join(", ")}.` : "No width leads anywhere with the rest of the selection.";
}

// Rounded inwards, so that both ends still work.
const up = (mm) => Math.ceil(mm * 10) / 10;
const down = (mm) => Math.floor(mm * 10) / 10;

function reasonOf({ blocked_by: rules }) {
  return rules.length ? rules.map(({ title }) => title).join("; ") : NOT_OFFERED;
}

/** The line that names the rules, and the list of what each greyed value is greyed by. */
function showWhy(place, values, picked) {
  const greyed = values.filter(({ possible }) => !possible);
  const blocked = greyed.filter(({ blocked_by: rules }) => rules.length);
  const bare = greyed.length - blocked.length;
  const shown = [];
  const mine = greyed.find(({ id }) => id === picked);
  const sets = new Set(blocked.map((value) => value.blocked_by.map(({ rule }) => rule).join()));
  if (mine) shown.push(make("p", { className: "blocked" }, `${mine.name} is greyed: `, ...causes(mine), "."));
  const rules = new Map(blocked.flatMap((value) => value.blocked_by.map((one) => [one.rule, one.title])));
  if (rules.size && !(mine && sets.size === 1)) {
    const links = [...rules].map(([rule, title]) => ruleLink(rule, title));
    shown.push(make("p", {}, `${blocked.length} greyed by: `, ...joined(links), "."));
  }
  if (bare) shown.push(make("p", { className: "note" }, `${bare} ${bare === 1 ? "is" : "are"} ${NOT_OFFERED}.`));
  if (sets.size > 1) {
    const items = blocked.map((value) => make("li", {}, `${value.name}: `, ...causes(value)));
    shown.push(make("details", { open: place.querySelector("details")?.open ?? false },
      make("summary", {}, `What greys each of the ${blocked.length}`), make("ul", {}, ...items)));
  }
  place.replaceChildren(...shown);
}

function causes({ blocked_by: rules }) {
  return rules.length ? joined(rules.map(({ rule, title }) => ruleLink(rule, title))) : [NOT_OFFERED];
}
