/* Making elements. What people wrote becomes text nodes and attribute values, never markup. */

/* An element; `on...` properties are listeners, true and false set or leave out an attribute. */
function make(tag, properties = {}, ...children) {
  const element = document.createElement(tag);
  for (const [name, value] of Object.entries(properties)) {
    if (name.startsWith("on")) element.addEventListener(name.slice(2), value);
    else if (typeof value === "boolean") element.toggleAttribute(name, value);
    else if (value !== undefined && value !== "") element.setAttribute(name, value);
  }
  element.append(...children.filter((child) => child !== null && child !== ""));
  return element;
}

/* Change a text only where it differs, so that a screen reader is not told it twice. */
function setText(element, text) {
  if (element.textContent !== text) element.textContent = text;
}

function button(words, onclick, properties = {}) {
  return make("button", { type: "button", onclick, ...properties }, words);
}

function fold(words, properties, ...children) {
  return make("details", properties, make("summary", {}, words), ...children);
}

let lastIdent = 0;

function freshIdent() {
  lastIdent += 1;
  return `field-${lastIdent}`;
}

/* A labelled input; `numeric` brings the number keys up without an input of type number, which
   would throw half-typed numbers away. */
function textField(words, value, oninput, { numeric, long, hint = "", list, key } = {}) {
  const id = freshIdent();
  const hintId = hint ? `${id}-hint` : "";
  const properties = { id, oninput: (event) => oninput(event.target.value) };
  if (hint) properties["aria-describedby"] = hintId;
  if (numeric) properties.inputmode = "decimal";
  if (list) properties.list = list;
  const input = long
    ? make("textarea", { ...properties, rows: "3" })
    : make("input", { ...properties, type: "text", autocomplete: "off" });
  input.value = value;
  return make(
    "div",
    { class: "field", "data-key": key },
    make("label", { for: id }, words),
    input,
    hint ? make("p", { id: hintId, class: "hint" }, hint) : null,
  );
}

/* A list to pick from; options are [value, words]. */
function listToPick(options, value, onpick) {
  const select = make(
    "select",
    { onchange: (event) => onpick(event.target.value) },
    ...options.map(([option, text]) => make("option", { value: option }, text)),
  );
  // An empty value is dropped as an attribute, and the option's text would stand for it.
  options.forEach(([option], index) => {
    select.options[index].value = option;
  });
  select.value = value;
  return select;
}

function pickField(words, options, value, onpick, { key } = {}) {
  const select = listToPick(options, value, onpick);
  select.id = freshIdent();
  return make(
    "div",
    { class: "field", "data-key": key },
    make("label", { for: select.id }, words),
    select,
  );
}

/* A few choices, all in sight; options are [value, words]. */
function choiceField(words, options, value, onpick, { key } = {}) {
  const group = freshIdent();
  return make(
    "fieldset",
    { class: "choice", "data-key": key },
    make("legend", {}, words),
    ...options.map(([option, text]) => {
      const input = make("input", {
        type: "radio",
        name: group,
        value: option,
        onchange: () => onpick(option),
      });
      input.checked = option === value;
      return make("label", {}, input, make("span", {}, text));
    }),
  );
}

function tickField(words, checked, onpick) {
  const input = make("input", {
    type: "checkbox",
    onchange: (event) => onpick(event.target.checked),
  });
  input.checked = checked;
  return make("label", { class: "tick" }, input, make("span", {}, words));
}

/* Ask before something is lost; resolves to true only on the button that says so. */
function ask(words, yes) {
  return new Promise((resolve) => {
    const dialog = make("dialog", { class: "ask", "aria-label": words }, make("p", {}, words));
    const finish = (answer) => {
      dialog.close();
      dialog.remove();
      resolve(answer);
    };
    dialog.append(
      make(
        "div",
        { class: "buttons" },
        button("Keep it", () => finish(false), { autofocus: true }),
        button(yes, () => finish(true), { class: "grave" }),
      ),
    );
    dialog.addEventListener("cancel", (event) => {
      event.preventDefault();
      finish(false);
    });
    document.body.append(dialog);
    dialog.showModal();
  });
}
