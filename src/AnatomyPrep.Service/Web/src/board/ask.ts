/** Asking for a model: one form on one screen. What is missing or does not go together is said at its field, before it is sent and while it is written. */

import { api, ApiError, LineLost } from "../api";
import { button, choice, Field, field, fill, h } from "../dom";
import type { Finding, Request, Source } from "../jobs";
import type { Visit } from "../main";
import { trouble } from "../shell";
import { text } from "../text";
import { sourceName } from "./board";

const CHECK_AFTER_MS = 500;
/** Parts of the body that a person has two of. */
const PAIRED = /\b(hand|wrist|foot|ankle|femur|tibia|fibula|knee|hip|shoulder|humerus|radius|ulna|elbow|arm|leg|orbit|ear|kidney|clavicle|scapula|forearm|heel|calcaneus)s?\b/i;

interface Asked {
  readonly anatomy: string;
  readonly side: string;
  readonly purpose: string;
  readonly scale: string;
  readonly neededBy: string;
  readonly plan: string;
  readonly profile: string;
  readonly images: string;
  readonly sourceId: string;
  readonly patientKey: string;
  readonly patientId: string;
  readonly requesterCode: string;
  readonly note: string;
}

/** What does not fit, by field; a stop keeps it from being sent, a caution does not. */
interface Told {
  readonly stop?: string;
  readonly caution?: string;
}

type Name = keyof Asked;

export function check(a: Asked, canScale: boolean, today: string): Partial<Record<Name, Told>> {
  const told: Partial<Record<Name, Told>> = {};
  const t = text.ask.told;
  const named = /\bleft\b/i.test(a.anatomy) ? "left" : /\bright\b/i.test(a.anatomy) ? "right" : "";
  if (!a.anatomy.trim()) told.anatomy = { stop: t.anatomy };
  else if (!/^[A-Za-z0-9][A-Za-z0-9 -]{0,59}$/.test(a.anatomy.trim())) told.anatomy = { stop: t.anatomyWords };
  if (named && a.side && a.side !== named) told.side = { stop: t.sideContradicts(named, a.side) };
  else if (!a.side && (named || PAIRED.test(a.anatomy))) told.side = { caution: t.side };
  if (!a.purpose) told.purpose = { stop: t.purpose };
  const scale = Number(a.scale);
  if (!(scale >= 0.05 && scale <= 20)) told.scale = { stop: t.scale };
  else if (scale !== 1 && !canScale) told.scale = { stop: t.cannotScale };
  else if (scale !== 1 && a.purpose === "planning") told.scale = { caution: t.planningScaled };
  if (a.neededBy && a.neededBy < today) told.neededBy = { stop: t.past };
  else if (!a.neededBy) told.neededBy = { caution: t.undated };
  if (!a.plan) told.plan = { stop: t.plan };
  if (a.images === "source" && !a.sourceId) told.sourceId = { stop: t.source };
  if (a.images === "key" && !/^[0-9a-f]{64}$/.test(a.patientKey.trim())) told.patientKey = { stop: t.key };
  if (a.images === "patient" && !a.patientId.trim()) told.patientId = { stop: t.patient };
  return told;
}

export function askPage(visit: Visit, id?: string): void {
  const { content, title, signal } = visit;
  title(text.ask.title);
  fill(content, h("p", { class: "hint pad" }, text.shell.loading));
  void Promise.all([api.get<{ items: Source[] }>("sources"), api.get<{ items: { name: string; description: string; canScale: boolean }[] }>("plans"), api.get<{ items: { name: string; description: string }[] }>("profiles"), id ? api.answer(`requests/${id}`) : null])
    .then(async ([sources, plans, profiles, answer]) => form(visit, sources.items.filter((s) => !s.replacedBy), plans.items, profiles.items, answer ? { request: (await answer.json()) as Request, tag: answer.headers.get("ETag") } : null))
    .catch((e: unknown) => {
      if (!signal.aborted) fill(content, h("div", { class: "page" }, trouble(e, () => askPage(visit, id))));
    });
}

function form({ content, go, signal }: Visit, sources: readonly Source[], plans: readonly { name: string; description: string; canScale: boolean }[], profiles: readonly { name: string; description: string }[], changed: { request: Request; tag: string | null } | null): void {
  const draft = `ask-${changed?.request.id ?? "new"}`;
  const was = changed?.request;
  const input = (attributes: Record<string, string | number | boolean> = {}) => h("input", { autocomplete: "off", ...attributes });
  const controls = {
    anatomy: input({ maxlength: 60 }),
    side: choice(text.jobs.sides),
    purpose: choice([["", text.ask.choosePurpose], ...text.jobs.purposes]),
    scale: input({ type: "number", step: "any" }),
    neededBy: input({ type: "date" }),
    images: choice(Object.entries(text.ask.imagesBy)),
    sourceId: choice([["", text.ask.chooseSource], ...sources.map((s) => [s.id, sourceName(s, s.id)] as const)]),
    patientKey: input({ maxlength: 64 }),
    patientId: input({ maxlength: 64 }),
    plan: choice([["", text.ask.choosePlan], ...plans.map((p) => [p.name, `${p.name}: ${p.description}`] as const)]),
    profile: choice([["", text.ask.usualProfile], ...profiles.map((p) => [p.name, `${p.name}: ${p.description}`] as const)]),
    requesterCode: input({ maxlength: 60 }),
    note: h("textarea", { rows: 2, maxlength: 500 }),
  } satisfies Record<Name, HTMLInputElement | HTMLSelectElement | HTMLTextAreaElement>;
  const names = Object.keys(controls) as Name[];
  const fields = Object.fromEntries(names.map((n) => [n, field(text.ask.labels[n], controls[n], text.ask.hints[n] ?? null)])) as unknown as Record<Name, Field>;
  const cautions = Object.fromEntries(names.map((n) => [n, h("p", { class: "caution-line", hidden: true, role: "status" })])) as unknown as Record<Name, HTMLElement>;
  for (const n of names) fields[n].root.append(cautions[n]);
  const from: Partial<Asked> = JSON.parse(sessionStorage.getItem(draft) ?? "null") ?? (was ? {
    anatomy: was.anatomy, side: was.side ?? "", purpose: was.purpose, scale: String(was.scale), neededBy: was.neededBy ?? "", plan: was.plan, profile: was.profile ?? "", images: was.sourceId ? "source" : "key", sourceId: was.sourceId ?? "", patientKey: was.patientKey ?? "", requesterCode: was.requesterCode ?? "", note: was.note ?? "",
  } : { scale: "1", images: sources.length ? "source" : "patient" });
  for (const n of names) if (from[n] !== undefined) controls[n].value = from[n];
  const note = h("div", { role: "status" });
  // The same form sent twice is one request.
  const key = crypto.randomUUID();
  /** Fields that were left: nobody is told what is missing before they had the chance to write it. */
  const left = new Set<Name>(was ? names : []);
  let fromService: Partial<Record<Name, Told>> = {};
  let waiting = 0;

  const now = (): Asked => Object.fromEntries(names.map((n) => [n, controls[n].value])) as unknown as Asked;
  const told = (): Partial<Record<Name, Told>> => {
    const here = check(now(), plans.find((p) => p.name === controls.plan.value)?.canScale ?? true, today());
    return { ...fromService, ...here };
  };
  const show = (all = false): Name[] => {
    const found = told();
    const byImages: Record<string, Name> = { source: "sourceId", key: "patientKey", patient: "patientId" };
    for (const [way, name] of Object.entries(byImages)) fields[name].root.hidden = controls.images.value !== way;
    for (const n of names) {
      const said = all || left.has(n) ? found[n] : undefined;
      fields[n].fault(said?.stop ?? null);
      cautions[n].hidden = !said?.caution;
      cautions[n].textContent = said?.caution ?? "";
    }
    return names.filter((n) => found[n]?.stop);
  };
  const body = () => {
    const a = now();
    return {
      anatomy: a.anatomy.trim(), side: a.side || null, purpose: a.purpose, scale: Number(a.scale), neededBy: a.neededBy || null, plan: a.plan, profile: a.profile || null, requesterCode: a.requesterCode.trim() || null, note: a.note.trim() || null,
      sourceId: a.images === "source" ? a.sourceId || null : null, patientKey: a.images === "key" ? a.patientKey.trim() : null, patientId: a.images === "patient" ? a.patientId.trim() : null,
    };
  };
  const ask = async () => {
    fromService = {};
    if (names.some((n) => told()[n]?.stop)) return;
    const answer = await api.send<{ field: string | null; message: string | null; findings: readonly { sourceId: string; findings: readonly Finding[] }[] }>("POST", "requests/check", body()).catch(() => null);
    if (!answer || signal.aborted) return;
    const images: Name = controls.images.value === "source" ? "sourceId" : controls.images.value === "key" ? "patientKey" : "patientId";
    if (answer.field && answer.field in controls) fromService = { [answer.field]: { stop: answer.message ?? "" } };
    else {
      // Where one of several sources fits, the others do not matter.
      const fitting = answer.findings.filter((s) => !s.findings.some((f) => f.severity === "stop"));
      const findings = (fitting[0] ?? answer.findings[0])?.findings ?? [];
      const stop = findings.filter((f) => f.severity === "stop").map((f) => `${f.message} ${f.remedy}`).join(" ");
      const caution = findings.filter((f) => f.severity === "caution").map((f) => `${f.message} ${f.remedy}`).join(" ");
      const waits = answer.findings.length === 0 ? text.ask.told.waits : answer.findings.length > 1 ? text.ask.told.several(fitting.length) : "";
      fromService = { [images]: { ...(stop && fitting.length === 0 ? { stop } : {}), caution: [caution, waits].filter(Boolean).join(" ") } };
      left.add(images);
    }
    show();
  };
  // A line that appears under a pressed pointer moves the button away from it, and the press is lost: it waits until the pointer is up.
  let isPressed = false;
  const tell = () => {
    if (!isPressed) show();
  };
  content.addEventListener("pointerdown", () => (isPressed = true), { signal });
  for (const up of ["pointerup", "pointercancel"]) window.addEventListener(up, () => setTimeout(() => {
    if (!isPressed) return;
    isPressed = false;
    show();
  }), { signal });
  const changedField = (n: Name) => {
    sessionStorage.setItem(draft, JSON.stringify({ ...now(), patientId: "" }));
    if (left.has(n)) show();
    fill(note);
    clearTimeout(waiting);
    waiting = window.setTimeout(() => void ask(), CHECK_AFTER_MS);
  };
  for (const n of names) {
    controls[n].addEventListener("input", () => changedField(n));
    for (const done of ["change", "blur"]) controls[n].addEventListener(done, () => {
      left.add(n);
      tell();
    });
  }
  const submit = async () => {
    const wrong = show(true);
    if (wrong.length) {
      for (const n of names) left.add(n);
      fill(note, h("p", { class: "notice caution", role: "alert" }, text.ask.missing(wrong.map((n) => text.ask.labels[n]).join(", "))));
      controls[wrong[0]].focus();
      return;
    }
    send.disabled = true;
    try {
      if (was) await api.send("PUT", `requests/${was.id}`, body(), changed?.tag ? { "If-Match": changed.tag } : {});
      else await api.send("POST", "requests/", body(), { "Idempotency-Key": key });
      sessionStorage.removeItem(draft);
      go("/board");
    } catch (e) {
      const at = e instanceof ApiError && e.problem.field && e.problem.field in fields ? (e.problem.field as Name) : null;
      if (e instanceof ApiError && e.problem.status === 412) fill(note, h("div", { class: "notice caution", role: "alert" }, h("p", null, text.ask.changedBySomebody), button(text.ask.showTheirs, () => {
        sessionStorage.removeItem(draft);
        location.reload();
      })));
      else if (at && e instanceof ApiError) {
        fields[at].fault(e.message);
        controls[at].focus();
      } else fill(note, e instanceof LineLost ? h("p", { class: "notice caution", role: "alert" }, text.ask.lost) : trouble(e, null));
    } finally {
      send.disabled = false;
    }
  };
  const send = h("button", { class: "primary" }, was ? text.ask.save : text.ask.send);
  fill(content, h("div", { class: "page narrow" }, h("h1", null, was ? text.ask.changeTitle : text.ask.title),
    h("form", { class: "ask", novalidate: true, on: { submit: (e) => { e.preventDefault(); void submit(); } } },
      part(text.ask.what, [fields.anatomy, fields.side, fields.purpose, fields.scale, fields.neededBy]),
      part(text.ask.from, [fields.images, fields.sourceId, fields.patientKey, fields.patientId]),
      part(text.ask.how, [fields.plan, fields.profile, fields.requesterCode, fields.note]),
      h("p", { class: "warning" }, text.warning), note,
      h("div", { class: "row end" }, h("a", { class: "button", href: "/board" }, text.jobs.cancel), send))));
  show();
  controls.anatomy.focus();
}

function part(title: string, fields: readonly Field[]): HTMLElement {
  return h("fieldset", null, h("legend", null, title), h("div", { class: "fields" }, fields.map((f) => f.root)));
}

function today(): string {
  const d = new Date();
  return `${d.getFullYear()}-${String(d.getMonth() + 1).padStart(2, "0")}-${String(d.getDate()).padStart(2, "0")}`;
}
