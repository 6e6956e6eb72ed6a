/** The technician's list: each model by its picture, and the form for a new one. */

import { api, ApiError } from "../api";
import { button, choice, dialog, field, fill, h } from "../dom";
import { follow } from "../changes";
import { actOn, fileOf, Job, listJobs, Source, stateOf } from "../jobs";
import type { Visit } from "../main";
import { actTrouble, trouble } from "../shell";
import { text } from "../text";

const PIECE_BYTES = 32 << 20;

const FILTERS: Record<string, (job: Job) => boolean> = {
  all: () => true,
  running: (j) => ["waiting", "queued", "running"].includes(j.state),
  done: (j) => j.state === "done",
  failed: (j) => ["failed", "cancelled"].includes(j.state) || j.holds === false,
};

export function jobsPage({ content, signal, title, go }: Visit): void {
  title(text.jobs.title);
  const grid = h("ul", { class: "cards" });
  const note = h("div", { role: "status" });
  const filter = choice(Object.entries(text.jobs.filters), "all");
  let shown = "";
  let jobs: Job[] = [];
  const draw = () => {
    const wanted = jobs.filter(FILTERS[filter.value]);
    const now = JSON.stringify([filter.value, wanted]);
    // What has not changed is left alone: the focus stays where it is.
    if (now === shown) return;
    shown = now;
    fill(grid, wanted.length ? wanted.map((job) => card(job, act)) : h("li", { class: "empty" }, text.jobs.empty));
  };
  const load = async () => {
    jobs = await listJobs();
    draw();
  };
  const act = async (job: Job, what: string) => {
    try {
      await actOn(`jobs/${job.id}`, what);
      fill(note);
    } catch (e) {
      fill(note, actTrouble(e));
    }
    await load();
  };
  filter.addEventListener("change", draw);
  const may = ["technician", "coordinator"].includes(api.session!.role);
  fill(content, h("div", { class: "page" },
    h("div", { class: "row" }, h("h1", null, text.jobs.title), h("div", { class: "grow" }), field(text.jobs.filter, filter).root, may ? button(text.jobs.make, () => newModel((job) => go(`/bench/${job}`)), { class: "primary" }) : null),
    note, grid));
  follow(signal, load, (e) => fill(note, trouble(e, null)));
}

function card(job: Job, act: (job: Job, what: string) => void): HTMLElement {
  const state = stateOf(job);
  const may = ["technician", "coordinator"].includes(api.session!.role);
  return h("li", { class: "card" },
    h("a", { href: `/bench/${job.id}`, class: "card-picture", "aria-label": `${text.jobs.open}: ${job.anatomy}${job.state === "done" ? "" : `, ${text.states[state]}`}` },
      job.state === "done" ? h("img", { src: fileOf(job.id, "preview.png"), alt: text.jobs.picture(job.anatomy), loading: "lazy" }) : h("span", { class: `blank ${state}` }, text.states[state])),
    h("div", { class: "card-words" },
      h("h2", null, h("a", { href: `/bench/${job.id}` }, job.anatomy), job.side ? ` (${job.side})` : ""),
      h("p", { class: `state ${state}` }, text.states[state]),
      h("p", { class: "hint" }, `${text.jobs.plan}: ${job.plan}`),
      job.neededBy ? h("p", null, text.jobs.neededBy(text.day(job.neededBy))) : null,
      h("p", { class: "hint" }, text.jobs.by(job.createdBy, text.moment(job.createdAt))),
      job.reason ? h("p", { class: "reason" }, job.reason) : null,
      may && ["waiting", "queued", "running"].includes(job.state) ? button(text.jobs.stop, () => act(job, "cancel")) : null,
      may && ["failed", "cancelled"].includes(job.state) ? button(text.jobs.retry, () => act(job, "retry")) : null));
}

async function newModel(made: (id: string) => void): Promise<void> {
  const [sources, plans] = await Promise.all([api.get<{ items: Source[] }>("sources").then((a) => a.items.filter((s) => !s.replacedBy)), api.get<{ items: { name: string }[] }>("plans").then((a) => a.items.map((p) => p.name))]);
  const source = choice(sources.map((s) => [s.id, text.jobs.sourceOption(s.files, text.moment(s.filedAt), s.id)] as const), sources[0]?.id ?? "");
  const plan = choice(plans.map((p) => [p, p] as const), plans.includes("bone") ? "bone" : plans[0]);
  const anatomy = h("input", { required: true, maxlength: 60, autocomplete: "off" });
  const side = choice(text.jobs.sides);
  const purpose = choice(text.jobs.purposes, "education");
  const needed = h("input", { type: "date" });
  const fields = { sourceId: field(text.jobs.source, source), plan: field(text.jobs.plan, plan), anatomy: field(text.jobs.anatomy, anatomy, text.jobs.anatomyHint), side: field(text.jobs.side, side), purpose: field(text.jobs.purpose, purpose), neededBy: field(text.jobs.needed, needed) };
  const note = h("div", { role: "status" });
  const key = crypto.randomUUID();
  const create = async () => {
    Object.values(fields).forEach((f) => f.fault(null));
    try {
      const job = await api.send<Job>("POST", "jobs/", { purpose: purpose.value, anatomy: anatomy.value.trim(), plan: plan.value, side: side.value || null, neededBy: needed.value || null, sourceId: source.value || null }, { "Idempotency-Key": key });
      open.close();
      made(job.id);
    } catch (e) {
      const at = e instanceof ApiError && e.problem.field ? fields[e.problem.field as keyof typeof fields] : undefined;
      if (at && e instanceof ApiError) at.fault(e.message);
      else fill(note, trouble(e, null));
    }
  };
  const folder = h("input", { type: "file", webkitdirectory: true, multiple: true });
  folder.addEventListener("change", () => void bring([...(folder.files ?? [])], note));
  const open = dialog(text.jobs.make, h("form", { class: "stack", on: { submit: (e) => { e.preventDefault(); void create(); } } },
    sources.length ? fields.sourceId.root : h("p", null, text.jobs.noSources),
    field(text.jobs.bring, folder, text.jobs.bringHint).root,
    fields.plan.root, fields.anatomy.root, fields.side.root, fields.purpose.root, fields.neededBy.root,
    h("p", { class: "warning" }, text.warning),
    note,
    h("div", { class: "row end" }, button(text.jobs.cancel, () => open.close()), h("button", { class: "primary", disabled: sources.length === 0 }, text.jobs.create))));
}

/** Sends files in pieces; a piece that a broken line cut is sent again from where it broke. */
async function bring(files: readonly File[], note: HTMLElement): Promise<void> {
  try {
    const { id } = await api.send<{ id: string }>("POST", "uploads/");
    for (const [number, file] of files.entries()) {
      fill(note, text.jobs.sending(number, files.length));
      for (let offset = 0; offset < file.size; offset += PIECE_BYTES)
        await api.answer(`uploads/${id}/files/${number}`, { method: "PUT", body: file.slice(offset, offset + PIECE_BYTES), headers: { "Upload-Offset": String(offset) } });
    }
    await api.send("POST", `uploads/${id}/complete`);
    fill(note, h("p", { class: "notice holds" }, text.jobs.sent));
  } catch (e) {
    fill(note, trouble(e, null));
  }
}
