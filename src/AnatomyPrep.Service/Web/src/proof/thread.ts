/** The quality officer's place: the models of the ledger, and the thread of one of them, each bead checked by this browser. */

import { api, ApiError } from "../api";
import { button, choice, dialog, field, fill, h } from "../dom";
import type { Visit } from "../main";
import { trouble } from "../shell";
import { text } from "../text";
import { check, Inclusion, keysOf } from "./check";

interface Facts {
  readonly model: string;
  readonly stage: string;
  readonly anatomy: string | null;
  readonly preparer: string | null;
  readonly openCautions: readonly string[];
}

interface EventLine {
  readonly position: number;
  readonly kind: string;
  readonly at: string;
  readonly name: string;
  readonly role: string;
  readonly meaning: string;
  readonly reason: string | null;
  readonly body: Record<string, unknown>;
}

interface Acts {
  readonly stages: readonly string[];
  readonly roles: readonly string[];
  readonly needsReason: boolean;
}

const ACTS: Readonly<Record<string, Acts>> = {
  acknowledge: { stages: ["prepared", "reviewed"], roles: ["technician", "quality-officer"], needsReason: true },
  review: { stages: ["prepared"], roles: ["technician", "quality-officer"], needsReason: false },
  release: { stages: ["reviewed"], roles: ["quality-officer"], needsReason: false },
  reject: { stages: ["prepared", "reviewed"], roles: ["quality-officer"], needsReason: true },
  withdraw: { stages: ["released", "printed", "inspected", "delivered"], roles: ["quality-officer"], needsReason: true },
};

const CAN_PROVE = ["quality-officer", "administrator"];

export function modelsPage({ content, title }: Visit): void {
  title(text.proof.title);
  const list = h("tbody");
  const state = h("div", { role: "status" });
  fill(content, h("div", { class: "page" }, h("h1", null, text.proof.title), state,
    CAN_PROVE.includes(api.session!.role) ? questions() : null,
    h("table", null, h("thead", null, h("tr", null, [text.proof.model, text.proof.anatomy, text.proof.stage, text.proof.preparer].map((c) => h("th", { scope: "col" }, c)))), list)));
  void (async () => {
    const { items } = await api.get<{ items: Facts[] }>("ledger/models?limit=500");
    fill(list, items.length ? items.map((m) => h("tr", null,
      h("th", { scope: "row" }, h("a", { href: `/proof/${m.model}` }, m.model)),
      h("td", null, m.anatomy ?? "–"), h("td", null, text.proof.stages[m.stage] ?? m.stage), h("td", null, m.preparer ?? "–"))) : h("tr", null, h("td", { colspan: 4 }, text.proof.none)));
    const ledger = await api.get<{ size: number; root: string; key: string; check: { holds: boolean; at: string; failures: string[] } | null }>("ledger/");
    fill(state, h("div", { class: ledger.check?.holds === false ? "notice stop" : "notice holds" },
      h("p", null, text.proof.ledger(ledger.size)), ledger.check ? h("p", null, ledger.check.holds ? text.proof.serviceHolds(text.moment(ledger.check.at)) : ledger.check.failures.join("; ")) : null,
      h("p", { class: "hint" }, text.proof.root, " ", h("code", null, ledger.root)), h("p", { class: "hint" }, text.proof.ledgerKey, " ", h("code", null, ledger.key))));
  })().catch((e: unknown) => fill(state, trouble(e, null)));
}

/** The questions of a working day; the answers are names of models. */
function questions(): HTMLElement {
  const by = choice(Object.entries(text.proof.finders), "lot");
  const value = h("input", { required: true, autocomplete: "off" });
  const answer = h("div", { role: "status" });
  const ask = async () => {
    try {
      if (by.value === "recall") {
        const { items } = await api.get<{ items: { model: string; stage: string; holders: string[] }[] }>(`ledger/questions/recall?lot=${encodeURIComponent(value.value)}`);
        fill(answer, items.length ? h("ul", null, items.map((m) => h("li", null, h("a", { href: `/proof/${m.model}` }, m.model), ` ${text.proof.stages[m.stage] ?? m.stage}: ${m.holders.join(", ") || text.proof.nobody}`))) : text.proof.none);
        return;
      }
      const { items } = await api.get<{ items: string[] }>(`ledger/questions/models?by=${by.value}&value=${encodeURIComponent(value.value)}`);
      fill(answer, items.length ? h("ul", null, items.map((m) => h("li", null, h("a", { href: `/proof/${m}` }, m)))) : text.proof.none);
    } catch (e) {
      fill(answer, trouble(e, null));
    }
  };
  return h("form", { class: "stack", "aria-label": text.proof.question, on: { submit: (e) => { e.preventDefault(); void ask(); } } },
    h("div", { class: "row" }, field(text.proof.question, by).root, field(text.proof.value, value).root, h("button", null, text.proof.ask)), answer);
}

export function threadPage(visit: Visit, name: string, revision: string): void {
  const { content, title, signal } = visit;
  const model = `${name}/${revision}`;
  title(model);
  const beads = h("ol", { class: "thread" });
  const summary = h("div", { role: "status" });
  const acts = h("div", { class: "row" });
  fill(content, h("div", { class: "page" }, h("h1", null, model), summary, acts, beads));
  const load = async () => {
    const { facts, events } = await api.get<{ facts: Facts; events: EventLine[] }>(`ledger/models/${name}/${revision}`);
    const isProver = CAN_PROVE.includes(api.session!.role);
    const rows = events.map((e) => ({ event: e, bead: h("span", { class: "bead open" }, text.proof.bead.open) }));
    fill(beads, rows.map(({ event: e, bead }) => h("li", null, bead,
      h("div", null, h("h2", null, text.proof.kinds[e.kind] ?? e.kind), h("p", null, text.proof.byWhom(e.name, text.moment(e.at), e.meaning)), e.reason ? h("blockquote", null, e.reason) : null,
        h("details", null, h("summary", null, text.proof.details), h("pre", { tabindex: 0 }, JSON.stringify(e.body, null, 2)))))));
    fill(acts, Object.entries(ACTS).filter(([, a]) => a.stages.includes(facts.stage) && a.roles.includes(api.session!.role) && !(a === ACTS["acknowledge"] && facts.openCautions.length === 0))
      .map(([act, a]) => button(text.proof.acts[act], () => sign(act, a, name, revision, facts, () => void load()), { class: act === "release" ? "primary" : "" })));
    const stage = h("p", null, text.proof.stageIs(text.proof.stages[facts.stage] ?? facts.stage), facts.openCautions.length ? ` ${text.proof.openCautions(facts.openCautions.join(", "))}` : "");
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

/** Who signs says again who they are, and reads what the signature means. */
function sign(act: string, rule: Acts, name: string, revision: string, facts: Facts, done: () => void): void {
  const passphrase = h("input", { type: "password", required: true, autocomplete: "off", maxlength: 256 });
  const reason = h("textarea", { rows: 3, required: rule.needsReason });
  const finding = choice(facts.openCautions.map((c) => [c, c] as const), facts.openCautions[0] ?? "");
  const fields = { passphrase: field(text.proof.passphrase, passphrase, text.proof.passphraseHint), reason: field(rule.needsReason ? text.proof.reasonNeeded : text.proof.reason, reason) };
  const note = h("div", { role: "status" });
  const submit = async () => {
    fields.passphrase.fault(null);
    try {
      await api.send("POST", `ledger/models/${name}/${revision}/${act}`, { passphrase: passphrase.value, ...(reason.value.trim() ? { reason: reason.value.trim() } : {}), ...(act === "acknowledge" ? { finding: finding.value } : {}) });
      open.close();
      done();
    } catch (e) {
      if (e instanceof ApiError && e.problem.status === 403) fields.passphrase.fault(e.message);
      else fill(note, trouble(e, null));
      passphrase.value = "";
    }
  };
  const open = dialog(text.proof.acts[act], h("form", { class: "stack", on: { submit: (e) => { e.preventDefault(); void submit(); } } },
    h("p", null, text.proof.meanings[act]), h("p", { class: "hint" }, text.proof.signsAs(api.session!.name, `${name}/${revision}`)), h("p", { class: "warning" }, text.warning),
    act === "acknowledge" ? field(text.proof.finding, finding).root : null, fields.reason.root, fields.passphrase.root, note,
    h("div", { class: "row end" }, button(text.jobs.cancel, () => open.close()), h("button", { class: "primary" }, text.proof.signNow))));
}
