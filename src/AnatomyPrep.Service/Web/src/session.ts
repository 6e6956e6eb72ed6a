/** Signing in: as a page of its own, or over the work when a session has ended. */

import { api, ApiError, LineLost, Session } from "./api";
import { dialog, field, fill, h, Props } from "./dom";
import { text } from "./text";

/** The form; resolves once a session is there. */
function form(name: string | null, done: (session: Session) => void): HTMLFormElement {
  const nameInput = h("input", { name: "name", autocomplete: "username", required: true, maxlength: 40, readonly: name !== null, value: name ?? "" });
  const password = h("input", { name: "password", type: "password", autocomplete: "current-password", required: true, maxlength: 256 });
  const nameField = field(text.signIn.name, nameInput, name === null ? null : text.signIn.other(name));
  const passwordField = field(text.signIn.password, password);
  const enter = h("button", { class: "primary" }, text.signIn.enter);
  const submit = async () => {
    enter.disabled = true;
    passwordField.fault(null);
    try {
      done(await api.send<Session>("POST", "session", { name: nameInput.value.trim(), password: password.value }));
    } catch (e) {
      passwordField.fault(e instanceof ApiError && e.problem.status === 401 ? text.signIn.wrong : e instanceof LineLost ? text.shell.lostWhileSending : String(e));
      password.select();
    } finally {
      enter.disabled = false;
    }
  };
  return h("form", { class: "stack", on: { submit: (e) => { e.preventDefault(); void submit(); } } }, nameField.root, passwordField.root, enter);
}

/** Puts a link to the organisation's sign-in after the form, where there is such a sign-in. */
async function addExternal(form: HTMLElement, words: string, props: Props): Promise<void> {
  const { external } = await api.get<{ external: string | null }>("sign-in");
  if (external) form.after(h("a", { class: "button", href: external, ...props }, words));
}

export function signInPage(root: HTMLElement): Promise<Session> {
  return new Promise((resolve) => {
    const made = form(null, resolve);
    fill(root, h("main", { class: "door", id: "content" }, h("h1", null, text.product), h("h2", null, text.signIn.title), made, h("p", { class: "hint" }, text.signIn.firstHint)));
    void addExternal(made, text.signIn.external, {});
    made.querySelector("input")?.focus();
  });
}

/** A dialog over whatever is being done; the request that met the ended session goes on after it. */
export function renewSession(): Promise<void> {
  return new Promise((resolve) => {
    const owner = api.session!;
    const back = new AbortController();
    const done = (session: Session) => {
      back.abort();
      api.session = session;
      open.close();
      resolve();
    };
    const made = form(owner.name, done);
    const open = dialog(text.signIn.ended, [h("p", null, text.signIn.endedDetail), made]);
    void addExternal(made, text.signIn.externalAside, { target: "_blank" });
    // Whoever signed in elsewhere comes back to this tab: the session is there then, if it is the same person's.
    document.addEventListener("visibilitychange", () => void api.get<Session>("session").then((session) => session.name === owner.name && done(session), () => undefined), { signal: back.signal });
    open.root.querySelector<HTMLInputElement>("input[type=password]")?.focus();
    // It cannot be closed without an answer: the work behind it waits.
    open.root.addEventListener("cancel", (e) => e.preventDefault());
  });
}

export function invitationPage(root: HTMLElement, token: string): void {
  const name = h("input", { name: "name", autocomplete: "username", required: true, maxlength: 40 });
  const password = h("input", { name: "password", type: "password", autocomplete: "new-password", required: true, minlength: 12, maxlength: 256 });
  const again = h("input", { type: "password", autocomplete: "new-password", required: true, maxlength: 256 });
  const fields = [field(text.signIn.name, name, text.invitation.hint), field(text.invitation.password, password), field(text.invitation.again, again)];
  const submit = async () => {
    fields.forEach((f) => f.fault(null));
    if (password.value !== again.value) {
      fields[2].fault(text.invitation.differs);
      again.focus();
      return;
    }
    const body = new FormData();
    body.set("token", token);
    body.set("name", name.value.trim());
    body.set("password", password.value);
    try {
      const made = (await (await api.answer("/invitation", { method: "POST", body })).json()) as { name: string };
      fill(root, h("main", { class: "door", id: "content" }, h("h1", null, text.product), h("p", null, text.invitation.made(made.name)), h("a", { class: "button primary", href: "/" }, text.invitation.toSignIn)));
    } catch (e) {
      fields[0].fault(e instanceof Error ? e.message : String(e));
    }
  };
  fill(root, h("main", { class: "door", id: "content" }, h("h1", null, text.product), h("h2", null, text.invitation.title),
    h("form", { class: "stack", on: { submit: (e) => { e.preventDefault(); void submit(); } } }, fields.map((f) => f.root), h("button", { class: "primary" }, text.invitation.make))));
  name.focus();
}
