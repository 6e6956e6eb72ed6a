/** Elements by one call each; no markup is ever parsed, so no text can become an element. */

export type Child = Node | string | number | null | undefined | false | readonly Child[];

type Handlers = { readonly [K in keyof HTMLElementEventMap]?: (event: HTMLElementEventMap[K]) => void };

export interface Props {
  readonly class?: string;
  readonly on?: Handlers;
  /** Attributes as they are; true sets an empty one, false and null leave it out. */
  readonly [attribute: string]: string | number | boolean | null | undefined | Handlers;
}

export function h<K extends keyof HTMLElementTagNameMap>(tag: K, props: Props | null = null, ...children: Child[]): HTMLElementTagNameMap[K] {
  const element = document.createElement(tag);
  for (const [name, value] of Object.entries(props ?? {})) {
    if (name === "on") {
      for (const [event, handler] of Object.entries(value as Handlers)) element.addEventListener(event, handler as EventListener);
    } else if (value !== null && value !== undefined && value !== false) {
      element.setAttribute(name, value === true ? "" : String(value));
    }
  }
  append(element, children);
  return element;
}

export function append(element: Element, children: readonly Child[]): void {
  for (const child of children) {
    if (child === null || child === undefined || child === false) continue;
    if (Array.isArray(child)) append(element, child as readonly Child[]);
    else element.append(child instanceof Node ? child : String(child));
  }
}

export function fill(element: Element, ...children: Child[]): void {
  element.replaceChildren();
  append(element, children);
}

export function button(label: Child, press: () => void, props: Props | null = null): HTMLButtonElement {
  return h("button", { type: "button", ...props, on: { click: () => press() } }, label);
}

let ids = 0;

/** A labelled control; what is wrong with it stands below it and is read out with it. */
export interface Field {
  readonly root: HTMLElement;
  readonly fault: (message: string | null) => void;
}

export function field(label: string, control: HTMLInputElement | HTMLSelectElement | HTMLTextAreaElement, hint: string | null = null): Field {
  const id = control.id || `f${++ids}`;
  control.id = id;
  const fault = h("p", { class: "fault", id: `${id}-fault`, hidden: true });
  const note = hint === null ? null : h("p", { class: "hint", id: `${id}-hint` }, hint);
  const described = [`${id}-fault`, ...(note ? [`${id}-hint`] : [])].join(" ");
  control.setAttribute("aria-describedby", described);
  return {
    root: h("div", { class: "field" }, h("label", { for: id }, label), control, note, fault),
    fault: (message) => {
      fault.hidden = message === null;
      fault.textContent = message ?? "";
      if (message === null) control.removeAttribute("aria-invalid");
      else control.setAttribute("aria-invalid", "true");
    },
  };
}

export function choice(options: readonly (readonly [string, string])[], value = ""): HTMLSelectElement {
  const select = h("select", null, options.map(([v, label]) => h("option", { value: v }, label)));
  select.value = value;
  return select;
}

/** A modal dialog that closes itself and gives the focus back. */
export function dialog(title: string, content: Child, props: Props | null = null): { root: HTMLDialogElement; close: () => void } {
  const id = `d${++ids}`;
  const before = document.activeElement;
  const root = h("dialog", { "aria-labelledby": id, ...props }, h("h2", { id }, title), content);
  const close = () => root.close();
  root.addEventListener("close", () => {
    root.remove();
    if (before instanceof HTMLElement) before.focus();
  });
  document.body.append(root);
  root.showModal();
  return { root, close };
}
