// A list to choose from, with a box to filter it. What is typed or walked over is only looked at: Enter, a click or leaving takes it,
// Escape brings the old one back.

import { isBuilding, isTyped, set, settle, writesBy } from "./controls.js";
import { make } from "./make.js";

/** Words of a text, in lower case and without marks. */
const plain = (text) =>
  text
    .toLowerCase()
    .normalize("NFD")
    .replace(/\p{M}/gu, "");

/**
 * `options` are { value, text }, with `more` that is found and shown too, `note` that is shown, `group` that they stand under, `faint`
 * where they are unusual, and `never` why they cannot be chosen.
 */
export function picker(id, label, options, value, taken, attributes = {}) {
  const list = make("ul", { role: "listbox", id: `${id}-list`, class: "choices", "aria-label": label, hidden: true });
  const control = make("input", {
    id,
    type: "text",
    role: "combobox",
    autocomplete: "off",
    spellcheck: "false",
    "aria-expanded": "false",
    "aria-controls": `${id}-list`,
    "aria-autocomplete": "list",
    ...attributes,
  });
  let shown = [];
  let active = -1;
  const now = () => options.find((o) => o.value === control.dataset.value);
  writesBy(control, (to) => {
    control.dataset.value = to ?? "";
    control.value = now()?.text ?? to ?? "";
  });
  set(control, value);

  const point = (at) => {
    active = at;
    [...list.querySelectorAll("[role=option]")].forEach((item, i) =>
      item.setAttribute("aria-selected", String(i === at)),
    );
    const item = shown[at] && list.querySelector(`#${id}-o${at}`);
    if (item) control.setAttribute("aria-activedescendant", item.id);
    else control.removeAttribute("aria-activedescendant");
    item?.scrollIntoView({ block: "nearest" });
  };
  const open = (filter) => {
    const words = plain(filter).split(/\s+/).filter(Boolean);
    const found = (o) => words.every((word) => plain(`${o.text} ${o.value} ${o.more ?? ""}`).includes(word));
    // Those first whose own name begins with what is typed.
    const rank = (o) => (words.length && plain(o.text).startsWith(words.join(" ")) ? 0 : 1);
    shown = options.filter(found);
    if (words.length) shown.sort((a, b) => rank(a) - rank(b) || (a.never ? 1 : 0) - (b.never ? 1 : 0));
    list.replaceChildren(...rows(shown, words.length > 0, id));
    list.hidden = false;
    control.setAttribute("aria-expanded", "true");
    const usable = (o) => !o.never;
    point(words.length ? shown.findIndex(usable) : shown.indexOf(now()));
  };
  const close = () => {
    list.hidden = true;
    control.setAttribute("aria-expanded", "false");
    point(-1);
  };
  const back = () => {
    set(control, control.dataset.value);
    close();
  };
  const takeAt = (at) => {
    const chosen = shown[at];
    if (!chosen || chosen.never) return back();
    const before = control.dataset.value;
    set(control, chosen.value);
    close();
    if (chosen.value !== before) taken(chosen.value, control);
  };
  /** What was typed, or walked to, is taken when the box is left. */
  const leave = () => {
    if (isBuilding() || !control.isConnected) return;
    if (!list.hidden && active >= 0) takeAt(active);
    else if (isTyped(control)) {
      open(control.value);
      takeAt(active);
    } else close();
  };

  control.addEventListener("input", () => open(control.value));
  control.addEventListener("click", () => list.hidden && open(""));
  control.addEventListener("focus", () => control.select());
  for (const event of ["change", "blur"]) control.addEventListener(event, leave);
  control.addEventListener("keydown", (event) => {
    const away = { ArrowDown: 1, ArrowUp: -1 }[event.key];
    if (away) {
      event.preventDefault();
      if (list.hidden) return open("");
      let to = active;
      do to += away;
      while (shown[to]?.never);
      if (shown[to]) point(to);
    } else if (event.key === "Enter") {
      event.preventDefault();
      // A list that was made anew is closed, with what was typed in its box.
      if (list.hidden && !isTyped(control)) return open("");
      if (list.hidden) open(control.value);
      takeAt(active);
    } else if (event.key === "Escape" && (!list.hidden || isTyped(control))) {
      event.preventDefault();
      event.stopPropagation();
      back();
    }
  });
  // The focus stays in the box.
  list.addEventListener("pointerdown", (event) => event.preventDefault());
  list.addEventListener("mousedown", (event) => event.preventDefault());
  list.addEventListener("click", (event) => {
    const item = event.target.closest("[role=option]");
    if (item && !item.hasAttribute("aria-disabled")) takeAt(Number(item.dataset.at));
  });
  settle(control);
  return make(
    "div",
    { class: "box pick" },
    make("label", { for: id }, label),
    control,
    list,
  );
}

function rows(shown, flat, id) {
  if (shown.length === 0) return [make("li", { role: "presentation", class: "source" }, "Nothing is called so.")];
  const all = [];
  shown.forEach((o, at) => {
    if (!flat && o.group && o.group !== shown[at - 1]?.group)
      all.push(make("li", { role: "presentation", class: "group" }, o.group));
    all.push(
      make(
        "li",
        {
          role: "option",
          id: `${id}-o${at}`,
          "data-at": at,
          "data-value": o.value,
          "aria-selected": "false",
          "aria-disabled": o.never ? "true" : false,
          class: o.never ? "never" : o.faint ? "faint" : "",
        },
        make("span", {}, o.text),
        o.never ? make("strong", { class: "harm" }, o.never) : "",
        o.note ? make("span", { class: "source" }, o.note) : "",
      ),
    );
  });
  return all;
}
