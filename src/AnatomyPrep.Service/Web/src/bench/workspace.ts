/** One model on the bench: plan, four panes, readings. */

import { api } from "../api";
import { button, fill, h } from "../dom";
import { follow } from "../changes";
import { actOn, fileOf, Job, listJobs, stateOf } from "../jobs";
import type { Visit } from "../main";
import { actTrouble, trouble } from "../shell";
import { text } from "../text";
import { Outliner } from "../viewing/outline";
import { SlicePane } from "../viewing/plane";
import { Scene, Tool, Window, WINDOWS } from "../viewing/scene";
import { NoWebGl, SolidPane } from "../viewing/solid";
import { AxisName, V3 } from "../viewing/space";
import { Volume } from "../viewing/volume";
import { bandPanel } from "./band";
import { comparePanel } from "./compare";
import { modelOf } from "./model";
import { planPanel } from "./plan";
import { colours, figures, files, findingsList, measuresList, structures } from "./readings";
import { remarksPanel } from "./remarks";

const ENDED = ["done", "failed", "cancelled"];
const ORDER = ["transverse", "frontal", "sagittal"];

/** Where a model was looked at that this one was made from. */
interface Look {
  readonly point: V3;
  readonly window: Window;
  readonly before: string | null;
}

export function workspacePage(visit: Visit, id: string): void {
  const { content, title } = visit;
  title(text.jobs.title);
  content.className = "workspace";
  fill(content, h("p", { class: "hint pad" }, text.shell.loading));
  void open(visit, id).catch((e: unknown) => {
    if (!visit.signal.aborted) fill(content, h("div", { class: "page" }, trouble(e, () => workspacePage(visit, id))));
  });
}

async function open(visit: Visit, id: string): Promise<void> {
  const { content, signal, title } = visit;
  const begin = performance.now();
  let job = await api.get<Job>(`jobs/${id}`);
  title(job.anatomy);
  const look = JSON.parse(sessionStorage.getItem(`look-${id}`) ?? "null") as Look | null;
  const status = h("div", { class: "status", role: "status" });
  const news = h("div", { role: "status" });
  const panes = h("div", { class: "panes" });
  const tools = h("div", { class: "tools", role: "toolbar", "aria-label": text.bench.tool });
  const left = h("aside", { class: "side plan-side", "aria-label": text.bench.plan });
  const right = h("aside", { class: "side read-side", "aria-label": text.bench.readings });
  const state = h("div", { class: "stack" });
  fill(content, left, h("div", { class: "middle" }, h("div", { class: "headline" }, h("h1", null, job.anatomy, job.side ? ` (${job.side})` : ""), status), news, tools, panes), right);

  const say = (kind: string, words: string) => fill(status, h("span", { class: `state ${kind}` }, words));
  const sayState = () => {
    const now = stateOf(job);
    say(now, job.progress ? text.bench.progress(job.progress.stage, job.progress.share) : text.states[now]);
    if (job.progress) status.append(h("progress", { max: 1, value: job.progress.share, "aria-label": text.states[now] }));
  };
  sayState();

  let solid: SolidPane | null = null;
  let slicePanes: SlicePane[] = [];
  let isPlaced = true;
  const scene = new Scene([0, 0, 0]);
  const plan = planPanel(visit, job, scene);
  left.append(plan.root);
  const remarks = remarksPanel(id, scene, () => isPlaced, () => job.state === "done", () => undefined, signal);
  fill(right, state, measuresList(scene), remarks.root);

  const maximise = (pane: HTMLElement) => {
    const alone = panes.classList.toggle("alone");
    for (const other of panes.children) other.classList.toggle("front", alone && other === pane);
    pane.focus();
  };
  const noSolid = () => panes.append(h("section", { class: "pane no-webgl", "aria-label": text.bench.solid }, h("img", { src: fileOf(id, "preview.png"), alt: text.jobs.picture(job.anatomy) }), h("p", { class: "notice" }, text.bench.noWebGl)));

  const loadSolid = async () => {
    const { facts, surfaces, frame, ...model } = await modelOf(id, signal);
    isPlaced = model.isPlaced;
    plan.show(facts, isPlaced ? frame : null);
    scene.set({ modelScale: isPlaced ? frame.scale : 1 });
    if (volume && isPlaced) {
      const outliners = surfaces.map((s) => new Outliner(s, volume.space));
      for (const pane of slicePanes) pane.outliners = outliners;
    }
    try {
      solid ??= new SolidPane(scene, maximise);
      if (!solid.root.parentElement) panes.append(solid.root);
      solid.show(surfaces, isPlaced);
    } catch (e) {
      if (!(e instanceof NoWebGl)) throw e;
      noSolid();
    }
    const compare = comparePanel(job, scene, volume, slicePanes, solid, look?.before ?? null, signal);
    const shown = { job, facts, surfaces, solid, frame, isPlaced, signal };
    const goTo = (at: V3) => scene.set({ point: isPlaced ? frame.toPatient(at) : at });
    fill(state, figures(shown), solid ? colours(shown, compare.other) : null, compare.root, structures(shown),
      h("section", { "aria-label": text.bench.findings }, h("h2", null, text.bench.findings), findingsList(facts.findings, goTo)), files(job));
    panes.dataset["solidMs"] = String(Math.round(performance.now() - begin));
  };

  const volume = job.sourceId ? await Volume.open(job.sourceId, () => say("running", text.bench.unpacking), signal).catch((e: unknown) => {
    if (signal.aborted) throw e;
    panes.append(h("section", { class: "pane" }, trouble(e, null)));
    return null;
  }) : null;
  panes.dataset["openMs"] = String(Math.round(performance.now() - begin));
  sayState();
  if (volume) {
    scene.set({ point: look?.point ?? volume.space.centre, ...(look ? { window: look.window } : {}) });
    slicePanes = (["slice", "row", "column"] as AxisName[]).map((axis) => new SlicePane(volume, axis, scene, maximise));
    // Transverse, frontal, sagittal, whatever the series' own order is.
    slicePanes.sort((a, b) => ORDER.indexOf(a.layout.plane) - ORDER.indexOf(b.layout.plane));
    panes.prepend(...slicePanes.map((p) => p.root));
    void volume.fetch("slice", slicePanes.find((p) => p.axis === "slice")!.slice).then(() => requestAnimationFrame(() => (panes.dataset["sliceMs"] = String(Math.round(performance.now() - begin)))));
    left.append(bandPanel(volume.header, scene, (lower, upper) => plan.setBand(lower, upper)));
  }
  toolbar(tools, scene);
  // What tests and people who measure look at: never used by the page itself.
  Object.assign(content, { bench: { scene, panes: () => slicePanes, solid: () => solid, volume } });

  if (job.state !== "done") plan.show(null, null);
  let isShown = false;
  follow(signal, async () => {
    job = await api.get<Job>(`jobs/${id}`);
    sayState();
    await remarks.reload();
    if (job.state === "done" && !isShown) {
      isShown = true;
      await loadSolid();
    } else if (!ENDED.includes(job.state)) fill(state, h("p", { class: "notice" }, text.bench.running));
    else if (job.state !== "done") {
      fill(state, h("div", { class: "notice caution", role: "alert" }, h("strong", null, text.bench.failed), h("p", null, job.reason ?? text.states[job.state]), job.remedy ? h("p", null, job.remedy) : null, h("p", null, text.bench.failedWayOn),
        ["technician", "coordinator"].includes(api.session!.role) ? button(text.jobs.retry, () => void retry()) : null));
    }
    await tellNewer();
  }, (e) => {
    isShown = false;
    fill(state, trouble(e, () => location.reload()));
  });

  const retry = async () => {
    try {
      await actOn(`jobs/${id}`, "retry");
    } catch (e) {
      fill(state, actTrouble(e));
    }
  };

  /** Somebody may have gone on from here. */
  async function tellNewer(): Promise<void> {
    const newer = (await listJobs()).filter((j) => j.id > id && j.sourceId === job.sourceId && j.sourceId !== null && j.anatomy === job.anatomy && j.side === job.side && j.state !== "cancelled");
    const last = newer[0];
    fill(news, last ? h("p", { class: "notice" }, text.bench.newer(last.createdBy, text.moment(last.createdAt)), " ", h("a", { href: `/bench/${last.id}` }, text.bench.openNewer)) : null);
  }
}

function toolbar(root: HTMLElement, scene: Scene): void {
  const hint = h("span", { class: "hint task" });
  const toolButtons = Object.entries(text.bench.tools).map(([tool, name]) => button(name, () => scene.set({ tool: tool as Tool, task: null }), { "data-tool": tool }));
  const windows = Object.entries(text.bench.windowNames).map(([name, label]) => button(label, () => scene.set({ window: WINDOWS[name as keyof typeof WINDOWS] }), { "data-window": name }));
  const level = h("input", { type: "number", step: 1, min: -2000, max: 4000, "aria-label": text.bench.level, title: text.bench.level });
  const width = h("input", { type: "number", step: 1, min: 1, max: 8000, "aria-label": text.bench.width, title: text.bench.width });
  level.addEventListener("change", () => scene.set({ window: { ...scene.state.window, levelHu: Number(level.value) } }));
  width.addEventListener("change", () => scene.set({ window: { ...scene.state.window, widthHu: Math.max(1, Number(width.value)) } }));
  const outline = button(text.bench.outline, () => scene.set({ outlines: !scene.state.outlines }));
  const smooth = button(text.bench.smooth, () => scene.set({ smooth: !scene.state.smooth }));
  const clear = button(text.bench.clearMeasures, () => scene.set({ measures: [] }));
  fill(root, h("div", { class: "group" }, toolButtons), h("div", { class: "group" }, windows, level, width), h("div", { class: "group" }, outline, smooth, clear), hint);
  const show = () => {
    const { tool, task, window: grey, outlines, smooth: isSmooth, measures } = scene.state;
    for (const b of toolButtons) b.setAttribute("aria-pressed", String(b.dataset["tool"] === tool));
    for (const b of windows) {
      const named = WINDOWS[b.dataset["window"] as keyof typeof WINDOWS];
      b.setAttribute("aria-pressed", String(named.levelHu === grey.levelHu && named.widthHu === grey.widthHu));
    }
    if (document.activeElement !== level) level.value = String(grey.levelHu);
    if (document.activeElement !== width) width.value = String(grey.widthHu);
    outline.setAttribute("aria-pressed", String(outlines));
    smooth.setAttribute("aria-pressed", String(isSmooth));
    clear.hidden = measures.length === 0;
    const words = task ?? text.bench.toolHints[tool] ?? "";
    if (hint.textContent !== words) hint.textContent = words;
    hint.classList.toggle("busy", task !== null);
  };
  scene.watch(show);
  show();
}
