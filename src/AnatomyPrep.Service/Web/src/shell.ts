/** What surrounds every place: the bar, light or dark, the keys, the state of the line. */

import { api, ApiError, LineLost } from "./api";
import { button, Child, dialog, fill, h } from "./dom";
import { text } from "./text";

export interface Place {
  readonly path: string;
  readonly name: string;
  readonly roles: readonly string[];
}

const PLACES: readonly Place[] = [
  { path: "/bench", name: text.shell.bench, roles: ["technician", "coordinator", "quality-officer", "administrator"] },
  { path: "/board", name: text.shell.board, roles: ["technician", "coordinator", "quality-officer", "administrator"] },
  { path: "/proof", name: text.shell.proof, roles: ["technician", "coordinator", "quality-officer", "administrator"] },
  { path: "/people", name: text.shell.people, roles: ["administrator"] },
];

/** Where each role begins its day. */
export const HOME: Readonly<Record<string, string>> = { technician: "/bench", coordinator: "/board", "quality-officer": "/proof", administrator: "/people" };

const THEME = "anatomyprep-theme";

export class Shell {
  readonly content = h("main", { id: "content", tabindex: -1 });
  readonly #band = h("div", { class: "band", role: "status", hidden: true });
  readonly #nav = h("nav", { "aria-label": text.shell.places });

  constructor(root: HTMLElement, go: (path: string) => void) {
    const session = api.session!;
    for (const place of PLACES.filter((p) => p.roles.includes(session.role))) this.#nav.append(h("a", { href: place.path }, place.name));
    const theme = button("", () => {
      setTheme(isDark() ? "light" : "dark");
      theme.textContent = isDark() ? text.shell.light : text.shell.dark;
    });
    theme.textContent = isDark() ? text.shell.light : text.shell.dark;
    fill(root,
      h("a", { class: "skip", href: "#content" }, text.shell.skip),
      h("header", { class: "bar" },
        h("a", { class: "mark", href: HOME[session.role] }, text.product),
        this.#nav,
        h("div", { class: "bar-end" },
          button(text.shell.keys, showKeys, { "aria-keyshortcuts": "?" }),
          theme,
          h("span", { class: "who" }, `${session.name}, ${text.roles[session.role]}`),
          button(text.shell.signOut, () => void signOut()))),
      this.#band,
      this.content);
    document.addEventListener("click", (e) => {
      const link = e.target instanceof Element ? e.target.closest("a") : null;
      if (!link || e.ctrlKey || e.metaKey || e.shiftKey || link.target || link.hasAttribute("download") || link.origin !== location.origin || link.hash || link.pathname.startsWith("/api/")) return;
      e.preventDefault();
      go(link.pathname + link.search);
    });
    document.addEventListener("keydown", (e) => {
      if (e.key === "?" && !isTyping(e.target)) showKeys();
    });
    api.onLine = (there) => {
      this.#band.hidden = false;
      this.#band.className = there ? "band holds" : "band caution";
      this.#band.textContent = there ? text.shell.back : text.shell.lost;
      if (there) setTimeout(() => (this.#band.hidden = true), 4000);
    };
  }

  /** Marks where we are, and puts the reader at the begin of it. */
  arrive(path: string, title: string): void {
    document.title = `${title} · ${text.product}`;
    for (const link of this.#nav.querySelectorAll("a")) {
      if (path.startsWith(new URL(link.href).pathname)) link.setAttribute("aria-current", "page");
      else link.removeAttribute("aria-current");
    }
  }
}

export function startTheme(): void {
  setTheme(localStorage.getItem(THEME) ?? (matchMedia("(prefers-color-scheme: dark)").matches ? "dark" : "light"), false);
}

function isDark(): boolean {
  return document.documentElement.dataset["theme"] === "dark";
}

function setTheme(theme: string, keep = true): void {
  document.documentElement.dataset["theme"] = theme;
  if (keep) localStorage.setItem(THEME, theme);
}

function isTyping(target: EventTarget | null): boolean {
  return target instanceof HTMLInputElement || target instanceof HTMLTextAreaElement || target instanceof HTMLSelectElement;
}

function showKeys(): void {
  if (document.querySelector("dialog[open]")) return;
  const part = (title: string, list: readonly (readonly [string, string])[]) => [h("h3", null, title), h("dl", { class: "keys" }, list.map(([key, what]) => [h("dt", null, h("kbd", null, key)), h("dd", null, what)]))];
  const { page, plane, solid, list } = text.keys;
  const open = dialog(text.keys.title, [part(page, list.page), part(plane, list.plane), part(solid, list.solid), h("div", { class: "row end" }, button(text.shell.close, () => open.close()))]);
}

async function signOut(): Promise<void> {
  try {
    await api.send("DELETE", "session");
  } finally {
    sessionStorage.clear();
    location.assign("/");
  }
}

/** What went wrong, in words, with a way on. */
export function trouble(e: unknown, again: (() => void) | null): HTMLElement {
  const said = e instanceof ApiError ? [h("strong", null, e.problem.title), e.problem.detail ? h("p", null, e.problem.detail) : null] : [h("strong", null, text.shell.failed), h("p", null, e instanceof LineLost ? text.shell.lostWhileSending : e instanceof Error ? e.message : String(e))];
  return h("div", { class: "notice caution", role: "alert" }, said as Child, again ? button(text.shell.again, again) : null);
}

/** The same for an act on something that may have changed meanwhile. */
export function actTrouble(e: unknown): HTMLElement {
  return e instanceof ApiError && e.problem.status === 412 ? h("p", { class: "notice caution", role: "alert" }, text.jobs.changed) : trouble(e, null);
}
