/** The coordinator's place: what was asked for, by the days it is needed or by how far it is; changes come by themselves. */

import { api } from "../api";
import { button, choice, dialog, field, fill, h } from "../dom";
import { follow } from "../changes";
import { actOn, fileOf, Job, listJobs, Request, Source, Verdict } from "../jobs";
import type { Visit } from "../main";
import { actTrouble, trouble } from "../shell";
import { text } from "../text";

const DAY_MS = 86_400_000;

/** A request with the newest job that makes it, or a job that nobody asked for by a request. */
interface Card {
  readonly id: string;
  readonly request: Request | null;
  readonly job: Job | null;
  readonly anatomy: string;
  readonly side: string | null;
  readonly neededBy: string | null;
  readonly state: string;
}

const SPANS = ["late", "today", "week", "later", "undated"] as const;
/** In the order of what is to be done about them; the rest waits for somebody else. */
const STATES = ["stopped", "choose", "failed", "look", "sentBack", "waiting", "queued", "running", "fits", "released", "cancelled"] as const;

export function boardPage({ content, title, signal, go }: Visit): void {
  title(text.board.title);
  const rows = h("div", { class: "spans" });
  const note = h("div", { role: "status" });
  const by = choice(Object.entries(text.board.orders), sessionStorage.getItem("board-by") ?? "day");
  const only = choice([["", text.board.allStates], ...STATES.map((s) => [s, text.board.states[s]] as const)]);
  const find = h("input", { type: "search", autocomplete: "off" });
  let cards: readonly Card[] = [];
  let sources: readonly Source[] = [];
  let shown = "";
  const may = api.session!.role === "coordinator";
  const act = async (request: Request, what: string, body?: unknown) => {
    try {
      await actOn(`requests/${request.id}`, what, body);
      fill(note);
    } catch (e) {
      fill(note, actTrouble(e));
    }
  };
  const draw = () => {
    const wanted = cards.filter((c) => (!only.value || c.state === only.value) && (!find.value.trim() || [c.anatomy, c.side, c.request?.requesterCode, c.request?.note, c.job?.createdBy, c.request?.createdBy].some((w) => w?.toLowerCase().includes(find.value.trim().toLowerCase()))) && (only.value === "cancelled" || c.state !== "cancelled"));
    const now = JSON.stringify([by.value, wanted]);
    // What has not changed is left alone: the focus stays where it is.
    if (now === shown) return;
    shown = now;
    const held = document.activeElement instanceof HTMLElement ? document.activeElement.dataset["key"] : undefined;
    const groups: readonly (readonly [string, string, readonly Card[]])[] = by.value === "day"
      ? SPANS.map((span) => [span, text.board.spans[span], wanted.filter((c) => spanOf(c) === span)] as const)
      : STATES.map((s) => [`by-${s}`, text.board.states[s], wanted.filter((c) => c.state === s)] as const).filter(([, , list]) => list.length > 0);
    fill(rows, groups.length ? groups.map(([name, label, list]) => group(name, label, list, may, sources, act)) : h("p", { class: "empty" }, text.board.empty));
    if (held) rows.querySelector<HTMLElement>(`[data-key="${CSS.escape(held)}"]`)?.focus();
  };
  by.addEventListener("change", () => {
    sessionStorage.setItem("board-by", by.value);
    draw();
  });
  only.addEventListener("change", draw);
  find.addEventListener("input", draw);
  fill(content, h("div", { class: "page" },
    h("div", { class: "row" }, h("h1", null, text.board.title), h("div", { class: "grow" }), field(text.board.find, find).root, field(text.board.order, by).root, field(text.jobs.filter, only).root, may ? button(text.board.ask, () => go("/board/ask"), { class: "primary" }) : null),
    note, rows));
  follow(signal, async () => {
    const [requests, jobs, verdicts, ledger, there] = await Promise.all([
      api.get<{ items: Request[] }>("requests/?limit=500").then((a) => a.items), listJobs(), api.get<Record<string, Verdict>>("verdicts"),
      api.get<{ items: { model: string; stage: string }[] }>("ledger/models?limit=500").then((a) => new Map(a.items.map((m) => [m.model, m.stage]))), api.get<{ items: Source[] }>("sources").then((a) => a.items)]);
    sources = there;
    cards = cardsOf(requests, jobs, verdicts, ledger);
    draw();
  }, (e) => fill(note, trouble(e, null)));
}

export function cardsOf(requests: readonly Request[], jobs: readonly Job[], verdicts: Readonly<Record<string, Verdict>>, stages: ReadonlyMap<string, string>): Card[] {
  // Ids sort by time: the newest job of a request is the one that counts.
  const newest = new Map<string, Job>();
  for (const job of jobs) if (job.requestId && (newest.get(job.requestId)?.id ?? "") < job.id) newest.set(job.requestId, job);
  const asked = requests.map((request): Card => {
    const job = newest.get(request.id) ?? null;
    return { id: request.id, request, job, anatomy: request.anatomy, side: request.side, neededBy: request.neededBy, state: stateNow(request, job, verdicts, stages) };
  });
  const others = jobs.filter((j) => !j.requestId).map((job): Card => ({ id: job.id, request: null, job, anatomy: job.anatomy, side: job.side, neededBy: job.neededBy, state: stateNow(null, job, verdicts, stages) }));
  return [...asked, ...others];
}

function stateNow(request: Request | null, job: Job | null, verdicts: Readonly<Record<string, Verdict>>, stages: ReadonlyMap<string, string>): string {
  if (!job) return request!.state;
  if (job.state !== "done") return job.state;
  if (["released", "printed", "inspected", "delivered"].includes(stages.get(`M-${job.id}/1`) ?? "")) return "released";
  const verdict = verdicts[job.id];
  return verdict === "fits" ? "fits" : verdict === "back" ? "sentBack" : "look";
}

/** What is made and right is late for nobody. */
function spanOf(card: Card): (typeof SPANS)[number] {
  if (!card.neededBy) return "undated";
  const today = new Date(new Date().toDateString()).getTime();
  const days = Math.round((new Date(`${card.neededBy}T00:00:00`).getTime() - today) / DAY_MS);
  return days < 0 ? (["fits", "released"].includes(card.state) ? "later" : "late") : days === 0 ? "today" : days <= 7 ? "week" : "later";
}

type Act = (request: Request, what: string, body?: unknown) => Promise<void>;

function group(name: string, label: string, list: readonly Card[], may: boolean, sources: readonly Source[], act: Act): HTMLElement {
  const inOrder = [...list].sort((a, b) => (a.neededBy ?? "9").localeCompare(b.neededBy ?? "9") || a.id.localeCompare(b.id));
  return h("section", { class: `span ${name}`, "aria-label": label }, h("h2", null, label, h("span", { class: "hint" }, ` ${text.count(list.length)}`)),
    list.length === 0 ? null : h("ul", { class: "cards small" }, inOrder.map((c) => card(c, may, sources, act))));
}

function card(c: Card, may: boolean, sources: readonly Source[], act: Act): HTMLElement {
  const { request, job } = c;
  const href = job ? `/board/${job.id}` : may ? `/board/ask/${c.id}` : null;
  const reason = job?.reason ?? request?.reason;
  const remedy = job?.remedy ?? request?.remedy;
  const press = (label: string, what: string) => button(label, () => void act(request!, what), { class: "small", "data-key": `${c.id}/${what}` });
  return h("li", { class: "card" },
    job?.state === "done" ? h("a", { class: "card-picture", href: `/board/${job.id}`, "aria-label": text.board.lookAt(c.anatomy) }, h("img", { src: fileOf(job.id, "preview.png"), alt: text.jobs.picture(c.anatomy), loading: "lazy" })) : null,
    h("div", { class: "card-words" }, h("h3", null, href ? h("a", { href, "data-key": `${c.id}/open` }, c.anatomy) : c.anatomy, c.side ? ` (${c.side})` : ""),
      h("p", { class: `state at-${c.state}` }, text.board.states[c.state] ?? c.state, job?.holds === false ? `; ${text.board.checkFails}` : ""),
      job?.progress ? h("progress", { max: 1, value: job.progress.share, "aria-label": text.bench.progress(job.progress.stage, job.progress.share) }) : null,
      c.neededBy ? h("p", null, text.jobs.neededBy(text.day(c.neededBy))) : null,
      reason && job?.state !== "done" ? h("p", { class: c.state === "waiting" ? "hint" : "reason" }, reason) : null, remedy && job?.state !== "done" ? h("p", { class: "hint" }, remedy) : null,
      request?.note ? h("p", { class: "hint" }, request.note) : null,
      h("div", { class: "row" },
        may && request && c.state === "choose" ? button(text.board.choose, () => chooseSource(request, sources, act), { class: "small", "data-key": `${c.id}/choose` }) : null,
        may && request && ["waiting", "choose", "stopped"].includes(c.state) ? h("a", { class: "button small", href: `/board/ask/${request.id}`, "data-key": `${c.id}/change` }, text.board.change) : null,
        may && request && ["failed", "cancelled"].includes(c.state) ? press(text.jobs.retry, "retry") : null,
        may && request && ["waiting", "choose", "stopped", "queued", "running"].includes(c.state) ? press(text.board.withdraw, "cancel") : null,
        job?.state === "done" ? h("a", { href: `/proof/M-${job.id}/1` }, text.board.decide) : null)));
}

function chooseSource(request: Request, sources: readonly Source[], act: Act): void {
  const select = choice(request.candidates.map((id) => [id, sourceName(sources.find((s) => s.id === id), id)] as const), request.candidates[0]);
  const open = dialog(text.board.choose, h("form", { class: "stack", on: { submit: (e) => {
    e.preventDefault();
    open.close();
    void act(request, "source", { sourceId: select.value });
  } } }, h("p", null, text.board.chooseHint), field(text.jobs.source, select).root, h("div", { class: "row end" }, button(text.jobs.cancel, () => open.close()), h("button", { class: "primary" }, text.board.take))));
}

/** What is known of images without naming anybody. */
export function sourceName(source: Source | undefined, id: string): string {
  return source ? text.board.sourceName(source.bodyPart, source.laterality, source.files, text.moment(source.filedAt), id, source.patientKey) : id.slice(0, 8);
}

