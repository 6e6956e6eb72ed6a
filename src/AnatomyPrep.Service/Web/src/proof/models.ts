/** The quality officer's place: the state of the ledger, its models, every question it answers, two revisions compared, a recall. */

import { api } from "../api";
import { button, choice, field, fill, h } from "../dom";
import { follow } from "../changes";
import type { Visit } from "../main";
import { trouble } from "../shell";
import { text } from "../text";
import { keyPanel } from "./key";
import { exportBundle, recall } from "./sign";
import { CAN_PROVE, EventLine, Facts } from "./thread";

interface LedgerState {
  readonly size: number;
  readonly root: string;
  readonly key: string;
  readonly check: { readonly holds: boolean; readonly at: string; readonly failures: readonly string[] } | null;
}

export function modelsPage({ content, title, signal }: Visit): void {
  title(text.proof.title);
  const list = h("tbody");
  const state = h("div", { role: "status" });
  const note = h("div", { role: "status" });
  const find = h("input", { type: "search", autocomplete: "off" });
  const stage = choice([["", text.jobs.all], ...Object.entries(text.proof.stages)]);
  const isProver = CAN_PROVE.includes(api.session!.role);
  const mayExport = ["quality-officer", "coordinator"].includes(api.session!.role);
  const chosen = new Set<string>();
  let models: readonly Facts[] = [];
  const bundle = button(text.proof.exportChosen, () => exportBundle([...chosen].sort()), { disabled: true });
  const known = h("datalist", { id: "known-models" });
  const draw = () => {
    fill(known, models.map((m) => h("option", { value: m.model })));
    const words = find.value.trim().toLowerCase();
    const wanted = models.filter((m) => (!stage.value || m.stage === stage.value) && (!words || [m.model, m.anatomy, m.preparer].some((w) => w?.toLowerCase().includes(words))));
    fill(list, wanted.length ? wanted.map((m) => {
      const box = h("input", { type: "checkbox", checked: chosen.has(m.model), "aria-label": text.proof.choose(m.model) });
      box.addEventListener("change", () => {
        if (box.checked) chosen.add(m.model);
        else chosen.delete(m.model);
        bundle.disabled = chosen.size === 0;
      });
      return h("tr", null, mayExport ? h("td", null, box) : null, h("th", { scope: "row" }, h("a", { href: `/proof/${m.model}` }, m.model)), h("td", null, m.anatomy ?? "–"), h("td", null, text.proof.stages[m.stage] ?? m.stage), h("td", null, m.preparer ?? "–"), h("td", null, m.openCautions.length ? text.count(m.openCautions.length) : "–"));
    }) : h("tr", null, h("td", { colspan: 6 }, text.proof.none)));
  };
  find.addEventListener("input", draw);
  stage.addEventListener("change", draw);
  const checkNow = async () => {
    fill(note, h("p", { class: "hint" }, text.proof.checking));
    try {
      const found = await api.send<{ holds: boolean; at: string; failures: readonly string[] }>("POST", "ledger/checks");
      fill(note, h("p", { class: found.holds ? "notice holds" : "notice stop" }, found.holds ? text.proof.serviceHolds(text.moment(found.at)) : found.failures.join("; ")));
    } catch (e) {
      fill(note, trouble(e, null));
    }
  };
  fill(content, h("div", { class: "page" }, h("h1", null, text.proof.title), state, keyPanel(signal), note,
    isProver ? h("div", { class: "row" }, button(text.proof.checkNow, () => void checkNow()), h("a", { class: "button", href: "/api/v1/ledger/head", download: true }, text.proof.head)) : null,
    isProver ? questions() : null, known,
    h("section", { class: "stack", "aria-label": text.proof.models }, h("div", { class: "row" }, h("h2", null, text.proof.models), h("div", { class: "grow" }), field(text.board.find, find).root, field(text.proof.stage, stage).root, mayExport ? bundle : null),
      h("div", { class: "wide", tabindex: 0, role: "region", "aria-label": text.proof.models }, h("table", null, h("thead", null, h("tr", null, mayExport ? h("td", null) : null, [text.proof.model, text.proof.anatomy, text.proof.stage, text.proof.preparer, text.proof.cautions].map((c) => h("th", { scope: "col" }, c)))), list)))));
  follow(signal, async () => {
    const [all, ledger] = await Promise.all([api.get<{ items: Facts[] }>("ledger/models?limit=500"), api.get<LedgerState>("ledger/")]);
    if (JSON.stringify(all.items) !== JSON.stringify(models)) {
      models = all.items;
      draw();
    }
    fill(state, h("div", { class: ledger.check?.holds === false ? "notice stop" : "notice holds" },
      h("p", null, text.proof.ledger(ledger.size)), ledger.check ? h("p", null, ledger.check.holds ? text.proof.serviceHolds(text.moment(ledger.check.at)) : ledger.check.failures.join("; ")) : h("p", null, text.proof.firstCheck),
      h("p", { class: "hint" }, text.proof.root, " ", h("code", null, ledger.root)), h("p", { class: "hint" }, text.proof.ledgerKey, " ", h("code", null, ledger.key))));
  }, (e) => fill(state, trouble(e, null)));
}

/** What a question needs to be asked. */
interface Input {
  readonly name: string;
  readonly type: "text" | "date" | "choice";
  readonly needed: boolean;
  readonly options?: readonly (readonly [string, string])[];
}

interface Question {
  readonly inputs: readonly Input[];
  readonly path: (values: Readonly<Record<string, string>>) => string;
  /** One row of the answer; a model becomes a link. */
  readonly columns: readonly string[];
  readonly row: (item: never) => readonly string[];
}

const input = (name: string, needed = true, type: Input["type"] = "text", options?: Input["options"]): Input => ({ name, type, needed, ...(options ? { options } : {}) });
const query = (values: Readonly<Record<string, string>>): string => new URLSearchParams(Object.entries(values).filter(([, v]) => v !== "")).toString();

/** Every question of docs/operations/ledger-api.md. */
const QUESTIONS: Readonly<Record<string, Question>> = {
  models: { inputs: [input("by", true, "choice", Object.entries(text.proof.finders)), input("value")], path: (v) => `models?${query(v)}`, columns: ["model"], row: (m: string) => [m] },
  recall: { inputs: [input("lot")], path: (v) => `recall?${query(v)}`, columns: ["model", "stage", "holders"], row: (m: { model: string; stage: string; holders: string[] }) => [m.model, text.proof.stages[m.stage] ?? m.stage, m.holders.join(", ") || text.proof.nobody] },
  acknowledged: { inputs: [input("finding"), input("model", false)], path: (v) => `acknowledged?${query(v)}`, columns: ["model", "who", "when", "reason"], row: (a: { model: string; name: string; at: string; reason: string }) => [a.model, a.name, text.moment(a.at), a.reason] },
  alone: { inputs: [], path: () => "alone", columns: ["model"], row: (m: string) => [m] },
  drift: { inputs: [], path: () => "drift", columns: ["run", "model", "recorded", "replayed", "when"], row: (d: { run: string; models: string[]; recordedSoftware: string; replayedSoftware: string; at: string }) => [d.run.slice(0, 12), d.models.join(", "), d.recordedSoftware.slice(0, 12), d.replayedSoftware.slice(0, 12), text.moment(d.at)] },
  driftBySoftware: { inputs: [], path: () => "drift-by-software", columns: ["recorded", "replayed", "count", "differing"], row: (d: { recordedSoftware: string; replayedSoftware: string; replayed: number; differing: number }) => [d.recordedSoftware.slice(0, 12), d.replayedSoftware.slice(0, 12), text.count(d.replayed), text.count(d.differing)] },
  retention: { inputs: [input("before", true, "date")], path: (v) => `retention?${query(v)}`, columns: ["model", "until", "stage"], row: (r: { model: string; retainUntil: string; stage: string }) => [r.model, r.retainUntil, text.proof.stages[r.stage] ?? r.stage] },
  differences: { inputs: [input("first"), input("second")], path: (v) => `differences?${query(v)}`, columns: ["where", "before", "after"], row: (d: { where: string; before: string; after: string }) => [d.where, d.before, d.after] },
  key: { inputs: [input("fingerprint")], path: (v) => `key?${query(v)}`, columns: ["position", "kind", "model", "when"], row: (e: EventLine & { models: string[] }) => [text.count(e.position), text.proof.kinds[e.kind] ?? e.kind, e.models.join(", "), text.moment(e.at)] },
};

function questions(): HTMLElement {
  const which = choice(Object.entries(text.proof.questions), "models");
  const inputs = h("div", { class: "row" });
  const answer = h("div", { class: "stack", role: "status" });
  let controls: Record<string, HTMLInputElement | HTMLSelectElement> = {};
  const show = () => {
    controls = Object.fromEntries(QUESTIONS[which.value].inputs.map((i) => [i.name, i.type === "choice" ? choice(i.options ?? [], i.options?.[0]?.[0]) : h("input", { type: i.type, required: i.needed, autocomplete: "off", list: ["first", "second", "model"].includes(i.name) ? "known-models" : null })]));
    fill(inputs, Object.entries(controls).map(([name, control]) => field(text.proof.asks[name] ?? name, control).root), h("button", null, text.proof.ask));
    fill(answer);
  };
  const ask = async () => {
    const question = QUESTIONS[which.value];
    const values = Object.fromEntries(Object.entries(controls).map(([name, c]) => [name, c.value.trim()]));
    try {
      const { items } = await api.get<{ items: never[] }>(`ledger/questions/${question.path(values)}`);
      const rows = items.map((i) => question.row(i));
      const found = which.value === "recall" ? items.map((i) => (i as { model: string; stage: string })).filter((m) => m.stage !== "withdrawn").map((m) => m.model) : [];
      fill(answer, h("p", null, text.proof.found(rows.length, which.value === "alone")),
        rows.length ? h("div", { class: "wide", tabindex: 0, role: "region", "aria-label": text.proof.answer }, h("table", null, h("thead", null, h("tr", null, question.columns.map((c) => h("th", { scope: "col" }, text.proof.columns[c] ?? c)))), h("tbody", null, rows.map((r) => h("tr", null, r.map((cell) => h("td", null, /^M-[0-9a-z-]+\/\d+$/i.test(cell) ? h("a", { href: `/proof/${cell}` }, cell) : cell))))))) : null,
        found.length && api.session!.role === "quality-officer" ? button(text.proof.recallThese(found.length), () => recall(found, values["lot"], () => void ask())) : null);
    } catch (e) {
      fill(answer, trouble(e, null));
    }
  };
  which.addEventListener("change", show);
  show();
  return h("form", { class: "stack", on: { submit: (e) => { e.preventDefault(); void ask(); } } }, h("div", { class: "row" }, field(text.proof.question, which).root, inputs), answer);
}
