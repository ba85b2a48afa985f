// A form of the page as something told: read whole at the tap, and what the book found wrong shown in it.

const PAGES_OWN = new Set(["csrfmiddlewaretoken", "entry_id", "tapped_at", "sequence", "logged_by"]);

/** The fields of a form as they stand, without what belongs to the page; `button` is the key that was tapped. */
export function fieldsOf(form, button) {
  const fields = [...new FormData(form, button)].filter(([name]) => !PAGES_OWN.has(name));
  return fields.filter(([, value]) => typeof value === "string");
}

function wordsOfChoice(input) {
  if (input.tagName === "SELECT") return [...input.selectedOptions].map((one) => one.textContent.trim()).join(", ");
  if (input.type === "radio") return input.checked ? (input.labels[0]?.textContent.trim() ?? input.value) : "";
  if (input.type === "checkbox") return input.checked ? "yes" : "";
  return input.value.trim();
}

/** What was keyed, as label and words, to be read again where it waits. */
export function saidIn(form) {
  const said = [];
  for (const input of form.elements) {
    if (!input.name || input.type === "hidden" || input.type === "file" || input.tagName === "BUTTON") continue;
    const words = input.value ? wordsOfChoice(input) : "";
    const holder = input.closest(".field");
    const label = holder?.querySelector("legend, label");
    // The first words of a label, without what stands in it beside them.
    const own = [...(label?.childNodes ?? [])].find((node) => node.textContent.trim())?.textContent.trim();
    const unit = holder?.querySelector(".unit")?.textContent.trim();
    if (words) said.push([own ?? input.name, unit ? `${words} ${unit}` : words]);
  }
  return said;
}

/** Where the form posts to, as a path. */
export function addressOf(form, button) {
  const given = button?.getAttribute("formaction") || form.getAttribute("action") || location.href;
  const where = new URL(given, location.href);
  return where.pathname + where.search;
}

/** The hull an address is about, by its number; "" where it is about none. */
export function hullIn(path) {
  return path.match(/^\/hulls\/([0-9A-Z][0-9A-Z-]*)\//)?.[1] ?? "";
}

function wrongBeside(sentence) {
  const shown = document.querySelector("#hb-wrong").content.firstElementChild.cloneNode(true);
  shown.querySelector("span").textContent = sentence;
  return shown;
}

function key(words, name, value, isQuiet = false) {
  const made = document.createElement("button");
  made.className = isQuiet ? "key key-quiet" : "key";
  made.type = "submit";
  made.name = name;
  made.value = value;
  made.textContent = words;
  return made;
}

/** The keys that answer a question; `unit` is written behind a figure. */
export function answersTo({ field, given, likely }, unit = "", isKeyed = true) {
  const figure = (value) => (unit && !value.includes(unit) ? `${value} ${unit}` : value);
  const keys = likely ? [key(figure(likely), `instead-${field}`, likely)] : [];
  keys.push(key(isKeyed ? `${figure(given)} is right` : "Yes, all the same", `answer-${field}`, given));
  return keys;
}

function questionBeside(question, form) {
  const holder = form.querySelector(`#field-${CSS.escape(question.field)}`);
  const input = holder?.querySelector("input:not([type=radio], [type=checkbox]), textarea");
  const shown = document.querySelector("#hb-question").content.firstElementChild.cloneNode(true);
  shown.querySelector(".question-sentence span").textContent = question.sentence;
  const keys = answersTo(question, holder?.querySelector(".unit")?.textContent.trim(), Boolean(input));
  if (holder) {
    const again = document.createElement("a");
    again.className = "key key-quiet";
    again.href = `#field-${question.field}`;
    again.textContent = "Key it again";
    keys.push(again);
  }
  shown.querySelector(".keys").replaceChildren(...keys);
  return shown;
}

export function clearWrong(form) {
  for (const shown of form.querySelectorAll("[data-told-wrong]")) shown.remove();
  for (const shown of form.querySelectorAll(".field-wrong")) shown.classList.remove("field-wrong");
  for (const shown of form.querySelectorAll(".wrong, .question")) shown.remove();
}

/** Show in the form why the entry was not taken: sentences beside their fields, questions at the head. */
export function showWrong(form, { problems, questions }) {
  clearWrong(form);
  const head = document.createElement("div");
  head.dataset.toldWrong = "";
  head.setAttribute("role", "alert");
  for (const question of questions ?? []) head.append(questionBeside(question, form));
  for (const [name, sentence] of Object.entries(problems ?? {})) {
    const holder = name ? form.querySelector(`#field-${CSS.escape(name)}`) : null;
    const shown = wrongBeside(sentence);
    shown.dataset.toldWrong = "";
    if (holder) {
      holder.classList.add("field-wrong");
      holder.append(shown);
    } else if (!questions?.length) head.append(shown);
  }
  form.querySelector("input[name=csrfmiddlewaretoken]").after(head);
  (head.firstElementChild ?? form.querySelector(".field-wrong"))?.scrollIntoView({ block: "center" });
}

/** Fill a form with what was keyed before. */
export function fill(form, fields) {
  for (const input of form.elements) {
    if (!input.name || PAGES_OWN.has(input.name) || input.type === "file" || input.tagName === "BUTTON") continue;
    const given = fields.filter(([name]) => name === input.name).map(([, value]) => value);
    if (input.type === "checkbox" || input.type === "radio") input.checked = given.includes(input.value);
    else if (input.multiple) for (const option of input.options) option.selected = given.includes(option.value);
    else if (given.length) [input.value] = given;
  }
}
