/** Signing: who signs says again who they are, and reads what the signature means. */

import { api, ApiError, LineLost } from "../api";
import { button, Child, choice, dialog, Field, field, fill, h } from "../dom";
import { trouble } from "../shell";
import { text } from "../text";
import type { Facts } from "./thread";

interface Input {
  readonly name: string;
  readonly type: "text" | "number" | "date" | "yes";
  readonly needed: boolean;
}

export interface Act {
  /** Of a model in these states. */
  readonly stages: readonly string[];
  readonly roles: readonly string[];
  readonly needsReason: boolean;
  /** One of the open cautions is what it is about. */
  readonly finding?: boolean;
  readonly inputs?: readonly Input[];
}

const GIVEN = ["released", "printed", "inspected", "delivered"];
const of = (name: string, type: Input["type"] = "text", needed = true): Input => ({ name, type, needed });

/** What docs/operations/ledger-api.md allows, by act. */
export const ACTS: Readonly<Record<string, Act>> = {
  acknowledge: { stages: ["prepared", "reviewed"], roles: ["technician", "quality-officer"], needsReason: true, finding: true },
  review: { stages: ["prepared"], roles: ["technician", "quality-officer"], needsReason: false },
  release: { stages: ["reviewed"], roles: ["quality-officer"], needsReason: false, inputs: [of("retainUntil", "date", false)] },
  reject: { stages: ["prepared", "reviewed"], roles: ["quality-officer"], needsReason: true },
  print: { stages: GIVEN, roles: ["technician"], needsReason: false, inputs: [of("printer"), of("material"), of("lot"), of("copies", "number", false)] },
  inspect: { stages: ["printed"], roles: ["technician", "quality-officer"], needsReason: false, inputs: [of("passed", "yes"), of("method"), of("largestDeviationMm", "number", false)] },
  deliver: { stages: ["inspected", "delivered"], roles: ["coordinator"], needsReason: false, inputs: [of("to"), of("copies", "number", false)] },
  complain: { stages: GIVEN, roles: ["coordinator", "quality-officer"], needsReason: false, inputs: [of("about")] },
  withdraw: { stages: GIVEN, roles: ["quality-officer"], needsReason: true, inputs: [of("lot", "text", false)] },
};

interface Ask {
  readonly title: string;
  readonly words: readonly Child[];
  readonly needsReason: boolean;
  readonly extra: readonly Field[];
  readonly send: (passphrase: string, reason: string | undefined) => Promise<void>;
  readonly done: () => void;
}

function askSignature({ title, words, needsReason, extra, send, done }: Ask): void {
  const passphrase = h("input", { type: "password", required: true, autocomplete: "off", maxlength: 256 });
  const reason = h("textarea", { rows: 3, required: needsReason });
  const passphraseField = field(text.proof.passphrase, passphrase, text.proof.passphraseHint);
  const note = h("div", { role: "status" });
  const submitButton = h("button", { class: "primary" }, text.proof.signNow);
  const submit = async () => {
    passphraseField.fault(null);
    submitButton.disabled = true;
    try {
      await send(passphrase.value, reason.value.trim() || undefined);
      open.close();
      done();
    } catch (e) {
      if (e instanceof ApiError && e.problem.status === 403) passphraseField.fault(e.message);
      else fill(note, e instanceof LineLost ? h("p", { class: "notice caution", role: "alert" }, text.shell.lostWhileSending) : trouble(e, null));
      passphrase.value = "";
    } finally {
      submitButton.disabled = false;
    }
  };
  const open = dialog(title, h("form", { class: "stack", on: { submit: (e) => { e.preventDefault(); void submit(); } } },
    words, h("p", { class: "warning" }, text.warning), extra.map((f) => f.root), field(needsReason ? text.proof.reasonNeeded : text.proof.reason, reason).root, passphraseField.root, note,
    h("div", { class: "row end" }, button(text.jobs.cancel, () => open.close()), submitButton)));
}

export function sign(act: string, rule: Act, name: string, revision: string, facts: Facts, done: () => void): void {
  const finding = choice(facts.openCautions.map((c) => [c, text.findings[c] ? `${text.findings[c]} (${c})` : c] as const), facts.openCautions[0] ?? "");
  const inputs = (rule.inputs ?? []).map((i) => ({ ...i, control: i.type === "yes" ? choice([["true", text.bench.yes], ["false", text.bench.no]], "true") : h("input", { type: i.type, step: "any", required: i.needed, autocomplete: "off" }) }));
  const value = (i: (typeof inputs)[number]): unknown => (i.type === "yes" ? i.control.value === "true" : i.type === "number" ? Number(i.control.value) : i.control.value.trim());
  askSignature({
    title: text.proof.acts[act],
    words: [h("p", null, text.proof.meanings[act]), h("p", { class: "hint" }, text.proof.signsAs(api.session!.name, `${name}/${revision}`))],
    needsReason: rule.needsReason,
    extra: [...(rule.finding ? [field(text.proof.finding, finding)] : []), ...inputs.map((i) => field(`${text.proof.inputs[i.name]}${i.needed ? "" : text.proof.ifAny}`, i.control))],
    send: (passphrase, reason) => api.send("POST", `ledger/models/${name}/${revision}/${act}`, {
      passphrase, ...(reason ? { reason } : {}), ...(rule.finding ? { finding: finding.value } : {}), ...Object.fromEntries(inputs.filter((i) => i.control.value !== "").map((i) => [i.name, value(i)])),
    }),
    done,
  });
}

/** A signed export of everything that belongs to the models, as one file. */
export function exportBundle(models: readonly string[]): void {
  const withFiles = h("input", { type: "checkbox" });
  askSignature({
    title: text.proof.export,
    words: [h("p", null, text.proof.exportMeaning), h("ul", null, models.map((m) => h("li", null, m)))],
    needsReason: false,
    extra: [field(text.proof.withFiles, withFiles)],
    send: async (passphrase, reason) => {
      const answer = await api.answer("ledger/bundles", { method: "POST", headers: { "Content-Type": "application/json" }, body: JSON.stringify({ passphrase, models, withFiles: withFiles.checked, ...(reason ? { reason } : {}) }) });
      const link = h("a", { href: URL.createObjectURL(await answer.blob()), download: /filename="?([^";]+)/.exec(answer.headers.get("Content-Disposition") ?? "")?.[1] ?? "bundle.zip" });
      link.click();
      setTimeout(() => URL.revokeObjectURL(link.href), 60_000);
    },
    done: () => undefined,
  });
}

/** Several models withdrawn by one signature. */
export function recall(models: readonly string[], lot: string, done: () => void): void {
  askSignature({
    title: text.proof.recall,
    words: [h("p", null, text.proof.recallMeaning), h("ul", null, models.map((m) => h("li", null, m)))],
    needsReason: true,
    extra: [],
    send: (passphrase, reason) => api.send("POST", "ledger/recalls", { passphrase, models, reason, lot }),
    done,
  });
}
