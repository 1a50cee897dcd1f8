// Makes elements. All text goes in as text, never as markup.

export const byId = (id) => document.getElementById(id);

/** An element with properties, and children that are elements or texts. */
export function make(tag, properties = {}, ...children) {
  const made = Object.assign(document.createElement(tag), properties);
  made.append(...children);
  return made;
}

/** A small square or dot in a colour such as "#1b7f8c". */
export function swatch(srgb, kind = "swatch") {
  const dot = make("span", { className: kind, ariaHidden: "true" });
  dot.style.backgroundColor = srgb;
  return dot;
}

/** A link to the page of a rule. */
export function ruleLink(rule, text = rule) {
  return make("a", { href: `rules/${encodeURIComponent(rule)}` }, text);
}

/** Things with a comma between each two. */
export function joined(things) {
  return things.flatMap((thing, place) => (place ? [", ", thing] : [thing]));
}
