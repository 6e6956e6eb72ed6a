/** The thread of one model: every event in order, each bead checked by this browser. */

import { api } from "../api";
import { button, fill, h } from "../dom";
import type { Visit } from "../main";
import { trouble } from "../shell";
import { text } from "../text";
import { check, Inclusion, keysOf } from "./check";
import { ACTS, exportBundle, sign } from "./sign";

export interface Facts {
  readonly model: string;
  readonly stage: string;
  readonly anatomy: string | null;
  readonly preparer: string | null;
  readonly openCautions: readonly string[];
  readonly holders: readonly string[];
  readonly retainUntil: string | null;
}

export interface EventLine {
  readonly position: number;
  readonly kind: string;
  readonly at: string;
  readonly name: string;
  readonly role: string;
  readonly meaning: string;
  readonly reason: string | null;
  readonly body: Record<string, unknown>;
}

export const CAN_PROVE = ["quality-officer", "administrator"];

export function threadPage(visit: Visit, name: string, revision: string): void {
  const { content, title, signal } = visit;
  const model = `${name}/${revision}`;
  title(model);
  const beads = h("ol", { class: "thread" });
  const summary = h("div", { role: "status" });
  const acts = h("div", { class: "row" });
  const job = /^M-([0-9a-f]{32})$/.exec(name)?.[1];
  fill(content, h("div", { class: "page" }, h("div", { class: "row" }, h("h1", null, model), h("div", { class: "grow" }), job && revision === "1" ? h("a", { href: `/bench/${job}` }, text.proof.toModel) : null), summary, acts, beads));
  const load = async () => {
    const { facts, events } = await api.get<{ facts: Facts; events: EventLine[] }>(`ledger/models/${name}/${revision}`);
    const isProver = CAN_PROVE.includes(api.session!.role);
    const rows = events.map((e) => ({ event: e, bead: h("span", { class: "bead open" }, text.proof.bead.open) }));
    fill(beads, rows.map(({ event: e, bead }) => h("li", null, bead,
      h("div", null, h("h2", null, text.proof.kinds[e.kind] ?? e.kind, typeof e.body["what"] === "string" ? `: ${e.body["what"]}` : ""), h("p", null, text.proof.byWhom(e.name, text.moment(e.at), e.meaning)), e.reason ? h("blockquote", null, e.reason) : null,
        h("details", null, h("summary", null, text.proof.details), h("pre", { tabindex: 0 }, JSON.stringify(e.body, null, 2)))))));
    const role = api.session!.role;
    fill(acts, Object.entries(ACTS).filter(([, a]) => a.stages.includes(facts.stage) && a.roles.includes(role) && !(a.finding && facts.openCautions.length === 0))
      .map(([act, a]) => button(text.proof.acts[act], () => sign(act, a, name, revision, facts, () => void load()), { class: act === "release" ? "primary" : "" })),
      ["quality-officer", "coordinator"].includes(role) ? button(text.proof.export, () => exportBundle([model])) : null);
    const stage = h("p", null, text.proof.stageIs(text.proof.stages[facts.stage] ?? facts.stage), facts.openCautions.length ? ` ${text.proof.openCautions(facts.openCautions.join(", "))}` : "", facts.holders.length ? ` ${text.proof.heldBy(facts.holders.join(", "))}` : "", facts.retainUntil ? ` ${text.proof.keptUntil(text.day(facts.retainUntil))}` : "");
    fill(summary, stage, isProver ? null : h("p", { class: "hint" }, text.proof.notProver));
    if (isProver) await prove(rows, summary, stage, signal);
  };
  load().catch((e: unknown) => {
    if (!signal.aborted) fill(summary, trouble(e, () => threadPage(visit, name, revision)));
  });
}

/** Every event against one root and the keys that the ledger's own first events brought. */
async function prove(rows: readonly { readonly event: EventLine; readonly bead: HTMLElement }[], summary: HTMLElement, stage: HTMLElement, signal: AbortSignal): Promise<void> {
  const head = await api.get<{ size: number; root: string }>("ledger/");
  const brought = (await Promise.all(["ledgerOpened", "personChange", "keyChange"].map((kind) => api.get<{ items: EventLine[] }>(`ledger/events?kind=${kind}&limit=500`)))).flatMap((a) => a.items);
  const keys = await keysOf(brought);
  let broken = 0;
  for (const { event, bead } of rows) {
    signal.throwIfAborted();
    const inclusion = await api.get<Inclusion>(`ledger/events/${event.position}/proof?size=${head.size}`);
    let keyId = "";
    try {
      keyId = (JSON.parse(inclusion.event) as { signatures: { keyid: string }[] }).signatures[0].keyid;
    } catch {
      // The check says so.
    }
    const verdict = await check(inclusion, keys.get(keyId) ?? null, head.root);
    // What the page shows must be what was signed.
    const isShown = verdict.holds && verdict.payload["kind"] === event.kind && JSON.stringify(sorted(verdict.payload["body"])) === JSON.stringify(sorted(event.body));
    const holds = verdict.holds && isShown;
    if (!holds) broken++;
    bead.className = holds ? "bead holds" : "bead broken";
    bead.textContent = holds ? text.proof.bead.holds : text.proof.bead.broken(verdict.holds ? text.proof.why["shown"] : text.proof.why[verdict.why]);
  }
  fill(summary, stage, h("div", { class: broken ? "notice stop" : "notice holds", role: broken ? "alert" : null }, broken ? text.proof.someBroken(broken, rows.length) : text.proof.allHold(rows.length), h("p", { class: "hint" }, text.proof.checkedHere)));
}

function sorted(value: unknown): unknown {
  if (Array.isArray(value)) return value.map(sorted);
  if (typeof value === "object" && value !== null) return Object.fromEntries(Object.entries(value).sort(([a], [b]) => (a < b ? -1 : 1)).map(([k, v]) => [k, sorted(v)]));
  return value ?? null;
}

