/** One model in the hand: to turn and measure, with what was found in plain words; it fits, or goes back with marks on it. */

import { api } from "../api";
import { button, fill, h } from "../dom";
import { follow } from "../changes";
import { fileOf, Job, Request, stateOf } from "../jobs";
import type { Visit } from "../main";
import { trouble } from "../shell";
import { text } from "../text";
import { Scene, Tool } from "../viewing/scene";
import { NoWebGl, SolidPane } from "../viewing/solid";
import type { V3 } from "../viewing/space";
import { modelOf } from "../bench/model";
import { colours, figures, findingsList, measuresList } from "../bench/readings";
import { remarksPanel } from "../bench/remarks";

const TOOLS: readonly Tool[] = ["point", "move", "measure"];

export function lookPage(visit: Visit, id: string): void {
  const { content, title, signal } = visit;
  title(text.board.title);
  content.className = "look";
  fill(content, h("p", { class: "hint pad" }, text.shell.loading));
  void open(visit, id).catch((e: unknown) => {
    if (!signal.aborted) fill(content, h("div", { class: "page" }, trouble(e, () => lookPage(visit, id))));
  });
}

async function open({ content, title, signal, go }: Visit, id: string): Promise<void> {
  let job = await api.get<Job>(`jobs/${id}`);
  const request = job.requestId ? await api.get<Request>(`requests/${job.requestId}`).catch(() => null) : null;
  title(job.anatomy);
  const scene = new Scene([0, 0, 0]);
  let isPlaced = true;
  const status = h("p", { role: "status" });
  const stage = h("div", { class: "panes one" });
  const state = h("div", { class: "stack" });
  const hint = h("span", { class: "hint task" });
  const tools = TOOLS.map((tool) => button(text.look.tools[tool], () => scene.set({ tool, task: null }), { "data-tool": tool }));
  const showTools = () => {
    for (const b of tools) b.setAttribute("aria-pressed", String(b.dataset["tool"] === scene.state.tool));
    const words = scene.state.task ?? text.look.hints[scene.state.tool] ?? "";
    if (hint.textContent !== words) hint.textContent = words;
    hint.classList.toggle("busy", scene.state.task !== null);
  };
  scene.watch(showTools);
  showTools();
  const remarks = remarksPanel(id, scene, () => isPlaced, () => job.state === "done", () => undefined, signal);
  fill(content,
    h("div", { class: "middle" }, h("div", { class: "headline" }, h("h1", null, job.anatomy, job.side ? ` (${job.side})` : ""), status, h("div", { class: "grow" }), button(text.look.back, () => go("/board"))),
      h("div", { class: "tools", role: "toolbar", "aria-label": text.bench.tool }, h("div", { class: "group" }, tools), hint), stage),
    h("aside", { class: "side", "aria-label": text.look.side },
      h("section", { "aria-label": text.look.asked }, h("h2", null, text.look.asked), h("dl", { class: "facts" }, asked(job, request))), state, measuresList(scene), remarks.root,
      h("p", null, h("a", { href: `/bench/${id}` }, text.look.toBench)), h("p", null, h("a", { href: `/proof/M-${id}/1` }, text.board.decide))));
  let solid: SolidPane | null = null;
  // What tests look at: never used by the page itself.
  Object.assign(content, { look: { scene, solid: () => solid } });

  let isShown = false;
  follow(signal, async () => {
    job = await api.get<Job>(`jobs/${id}`);
    const now = stateOf(job);
    fill(status, h("span", { class: `state ${now}` }, job.progress ? text.bench.progress(job.progress.stage, job.progress.share) : text.states[now]));
    await remarks.reload();
    if (job.state === "done" && !isShown) {
      isShown = true;
      await show();
    } else if (job.state !== "done") fill(state, h("p", { class: `notice ${job.state === "failed" ? "caution" : ""}` }, job.reason ?? text.states[now], job.remedy ? ` ${job.remedy}` : ""));
  }, (e) => fill(state, trouble(e, null)));

  async function show(): Promise<void> {
    const { facts, surfaces, frame, ...model } = await modelOf(id, signal);
    isPlaced = model.isPlaced;
    scene.set({ modelScale: isPlaced ? frame.scale : 1, point: firstCorner(surfaces[0].positions) });
    try {
      solid = new SolidPane(scene, () => undefined);
      stage.append(solid.root);
      solid.show(surfaces, isPlaced);
    } catch (e) {
      if (!(e instanceof NoWebGl)) throw e;
      stage.append(h("section", { class: "pane no-webgl", "aria-label": text.bench.solid }, h("img", { src: fileOf(id, "preview.png"), alt: text.jobs.picture(job.anatomy) }), h("p", { class: "notice" }, text.look.noWebGl)));
    }
    const shown = { job, facts, surfaces, solid, frame, isPlaced, signal };
    fill(state, figures(shown), h("section", { "aria-label": text.bench.findings }, h("h2", null, text.bench.findings), findingsList(facts.findings, (at) => scene.set({ point: isPlaced ? frame.toPatient(at) : at }))), solid ? colours(shown, () => null) : null);
    stage.dataset["solidMs"] = "1";
  }
}

function firstCorner(positions: Float32Array): V3 {
  return [positions[0], positions[1], positions[2]];
}

function asked(job: Job, request: Request | null): Node[] {
  const row = (name: string, value: string | null | undefined) => (value ? [h("dt", null, name), h("dd", null, value)] : []);
  return [
    ...row(text.jobs.purpose, job.purpose), ...row(text.jobs.side, job.side), ...row(text.look.scale, String(job.scale)), ...row(text.jobs.plan, job.plan), ...row(text.ask.labels["profile"], job.profile),
    ...row(text.jobs.needed, job.neededBy ? text.day(job.neededBy) : null), ...row(text.ask.labels["requesterCode"], request?.requesterCode), ...row(text.ask.labels["note"], request?.note), ...row(text.look.by, `${job.createdBy}, ${text.moment(job.createdAt)}`),
  ];
}
