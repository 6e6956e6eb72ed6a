/** Accounts and invitations, for the administrator. */

import { api } from "./api";
import { button, choice, field, fill, h } from "./dom";
import type { Visit } from "./main";
import { keyPanel, waitingKeys } from "./proof/key";
import { trouble } from "./shell";
import { text } from "./text";

interface Account {
  readonly name: string;
  readonly role: string;
  readonly disabled: boolean;
}

export function peoplePage({ content, title, signal }: Visit): void {
  title(text.people.title);
  const rows = h("tbody");
  const made = h("div", { role: "status" });
  const role = choice(Object.entries(text.roles), "technician");
  const load = async () => {
    const { items } = await api.get<{ items: Account[] }>("accounts");
    fill(rows, items.map((a) => h("tr", null,
      h("th", { scope: "row" }, a.name),
      h("td", null, text.roles[a.role]),
      h("td", null, a.disabled ? text.people.disabled : text.people.active),
      h("td", null, a.disabled ? null : button(text.people.disable, () => void change(() => api.send("POST", `accounts/${encodeURIComponent(a.name)}/disable`)))))));
  };
  const change = async (act: () => Promise<unknown>) => {
    try {
      await act();
      await load();
    } catch (e) {
      fill(made, trouble(e, null));
    }
  };
  const invite = async () => {
    const { link } = await api.send<{ link: string }>("POST", "invitations", { role: role.value });
    fill(made, h("div", { class: "notice holds" }, h("p", null, text.people.link), h("p", null, h("code", { class: "link" }, link))));
  };
  fill(content, h("div", { class: "page" },
    h("h1", null, text.people.title),
    h("form", { class: "row", on: { submit: (e) => { e.preventDefault(); void change(invite); } } }, field(text.people.role, role).root, h("button", { class: "primary" }, text.people.invite)),
    made,
    h("table", null, h("thead", null, h("tr", null, h("th", { scope: "col" }, text.people.name), h("th", { scope: "col" }, text.people.role), h("th", { scope: "col" }, text.people.state), h("td"))), rows),
    keyPanel(signal), waitingKeys(signal)));
  void change(() => Promise.resolve());
}
