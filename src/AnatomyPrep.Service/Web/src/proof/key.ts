/** The key a person signs with: to make one, and whether an administrator has admitted it. */

import { api, ApiError } from "../api";
import { button, choice, field, fill, h } from "../dom";
import { trouble } from "../shell";
import { text } from "../text";

interface Me {
  readonly account: string;
  readonly signer: { readonly name: string; readonly roles: readonly string[]; readonly active: boolean; readonly key: string | null } | null;
  readonly waiting: string | null;
}

export function keyPanel(signal: AbortSignal): HTMLElement {
  const root = h("section", { class: "stack", "aria-label": text.key.title });
  const load = async () => {
    const me = await api.get<Me>("ledger/me");
    if (me.signer?.key) fill(root, h("details", null, h("summary", null, text.key.yours(me.signer.name)), h("p", { class: "hint" }, text.key.fingerprint, " ", h("code", null, me.signer.key))));
    else if (me.waiting) fill(root, h("p", { class: "notice" }, text.key.waits, " ", h("code", null, me.waiting)));
    else fill(root, make(load));
  };
  load().catch((e: unknown) => {
    if (!signal.aborted) fill(root, trouble(e, null));
  });
  return root;
}

function make(done: () => Promise<void>): HTMLElement {
  const name = h("input", { required: true, maxlength: 60, autocomplete: "name" });
  const passphrase = h("input", { type: "password", required: true, minlength: 12, maxlength: 256, autocomplete: "off" });
  const again = h("input", { type: "password", required: true, maxlength: 256, autocomplete: "off" });
  const againField = field(text.invitation.again, again);
  const note = h("div", { role: "status" });
  const submit = async () => {
    againField.fault(passphrase.value === again.value ? null : text.invitation.differs);
    if (passphrase.value !== again.value) return;
    try {
      await api.send("POST", "ledger/me/key", { passphrase: passphrase.value, name: name.value.trim() });
      await done();
    } catch (e) {
      fill(note, e instanceof ApiError ? h("p", { class: "notice caution", role: "alert" }, e.message) : trouble(e, null));
    }
  };
  return h("details", { class: "notice", open: true }, h("summary", null, text.key.none),
    h("form", { class: "stack", on: { submit: (e) => { e.preventDefault(); void submit(); } } }, h("p", { class: "hint" }, text.key.hint),
      h("div", { class: "row" }, field(text.key.name, name).root, field(text.key.passphrase, passphrase).root, againField.root, h("button", null, text.key.make)), note));
}

/** For administrators: keys that wait, each to be compared with what the person reads out. */
export function waitingKeys(signal: AbortSignal): HTMLElement {
  const root = h("section", { class: "stack", "aria-label": text.key.waitingTitle });
  const load = async () => {
    const { items } = await api.get<{ items: { person: string; name: string; key: string }[] }>("ledger/people/waiting");
    fill(root, h("h2", null, text.key.waitingTitle), items.length ? items.map((w) => admit(w, load)) : h("p", { class: "hint" }, text.proof.none));
  };
  load().catch((e: unknown) => {
    if (!signal.aborted) fill(root, trouble(e, null));
  });
  return root;
}

function admit(waiting: { readonly person: string; readonly name: string; readonly key: string }, done: () => Promise<void>): HTMLElement {
  const role = choice(Object.entries(text.key.roles));
  const passphrase = h("input", { type: "password", required: true, maxlength: 256, autocomplete: "off" });
  const note = h("div", { role: "status" });
  const submit = async () => {
    try {
      await api.send("POST", `ledger/people/${waiting.person}/admit`, { passphrase: passphrase.value, key: waiting.key, roles: [role.value] });
      await done();
    } catch (e) {
      fill(note, trouble(e, null));
    }
  };
  return h("form", { class: "notice stack", on: { submit: (e) => { e.preventDefault(); void submit(); } } }, h("p", null, `${waiting.name} (${waiting.person})`), h("p", { class: "hint" }, text.key.fingerprint, " ", h("code", null, waiting.key)),
    h("div", { class: "row" }, field(text.people.role, role).root, field(text.proof.passphrase, passphrase).root, button(text.key.admit, () => void submit())), note);
}
