/** The coordinator's place: the models in the order of the days they are needed. */

import { api } from "../api";
import { fill, h } from "../dom";
import { fileOf, Job, listJobs, stateOf } from "../jobs";
import type { Visit } from "../main";
import { trouble } from "../shell";
import { text } from "../text";

const LOOK_AGAIN_MS = 3000;
const DAY_MS = 86_400_000;

type Span = "late" | "today" | "week" | "later" | "undated";

export function boardPage({ content, title, signal }: Visit): void {
  title(text.board.title);
  const rows = h("div", { class: "spans" });
  let shown = "";
  const load = async () => {
    const jobs = (await listJobs()).filter((j) => j.state !== "cancelled");
    const now = JSON.stringify(jobs);
    if (now === shown) return;
    shown = now;
    fill(rows, (["late", "today", "week", "later", "undated"] as Span[]).map((span) => row(span, jobs.filter((j) => spanOf(j) === span))));
  };
  fill(content, h("div", { class: "page" }, h("h1", null, text.board.title), h("p", { class: "hint" }, text.board.hint), rows));
  void (async () => {
    while (!signal.aborted) {
      if (!document.hidden) await load().catch((e: unknown) => fill(rows, trouble(e, null)));
      await new Promise((r) => setTimeout(r, LOOK_AGAIN_MS));
    }
  })();
}

/** What is made is late for nobody. */
function spanOf(job: Job): Span {
  if (!job.neededBy) return "undated";
  const today = new Date(new Date().toDateString()).getTime();
  const days = Math.round((new Date(`${job.neededBy}T00:00:00`).getTime() - today) / DAY_MS);
  return days < 0 ? (job.state === "done" ? "later" : "late") : days === 0 ? "today" : days <= 7 ? "week" : "later";
}

function row(span: Span, jobs: readonly Job[]): HTMLElement {
  const inOrder = [...jobs].sort((a, b) => (a.neededBy ?? "").localeCompare(b.neededBy ?? "") || a.id.localeCompare(b.id));
  return h("section", { class: `span ${span}`, "aria-label": text.board.spans[span] }, h("h2", null, text.board.spans[span], h("span", { class: "hint" }, ` ${text.count(jobs.length)}`)),
    h("ul", { class: "cards small" }, inOrder.map((job) => h("li", { class: "card" },
      h("a", { class: "card-picture", href: `/bench/${job.id}`, "aria-label": `${text.jobs.open}: ${job.anatomy}` }, job.state === "done" ? h("img", { src: fileOf(job.id, "preview.png"), alt: text.jobs.picture(job.anatomy), loading: "lazy" }) : h("span", { class: "blank" }, text.states[stateOf(job)])),
      h("div", { class: "card-words" }, h("h3", null, h("a", { href: `/bench/${job.id}` }, job.anatomy), job.side ? ` (${job.side})` : ""),
        h("p", { class: `state ${stateOf(job)}` }, text.states[stateOf(job)]), job.neededBy ? h("p", null, text.jobs.neededBy(text.day(job.neededBy))) : null, job.reason ? h("p", { class: "reason" }, job.reason) : null,
        ["coordinator", "technician", "quality-officer"].includes(api.session!.role) && job.state === "done" ? h("a", { href: `/proof/M-${job.id}/1` }, text.board.decide) : null)))));
}
