/** One model on the bench: plan, four panes, readings. */

import { api, ApiError } from "../api";
import { button, choice, field, fill, h } from "../dom";
import { fileOf, Job, RunFacts, stateOf } from "../jobs";
import type { Visit } from "../main";
import { trouble } from "../shell";
import { text } from "../text";
import { readGlb, Surface } from "../viewing/glb";
import { Outliner } from "../viewing/outline";
import { SlicePane } from "../viewing/plane";
import { Scene, Tool, WINDOWS } from "../viewing/scene";
import { NoWebGl, SolidPane } from "../viewing/solid";
import { AxisName } from "../viewing/space";
import { Volume } from "../viewing/volume";
import { bandPanel } from "./band";
import { planPanel } from "./plan";
import { catalogue } from "./steps";

const LOOK_AGAIN_MS = 1000;

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
  title(`${job.anatomy}`);
  const status = h("div", { class: "status", role: "status" });
  const panes = h("div", { class: "panes" });
  const tools = h("div", { class: "tools", role: "toolbar", "aria-label": text.bench.tool });
  const left = h("aside", { class: "side plan-side", "aria-label": text.bench.plan });
  const right = h("aside", { class: "side read-side", "aria-label": text.bench.readings });
  fill(content, left, h("div", { class: "middle" }, h("div", { class: "headline" }, h("h1", null, job.anatomy, job.side ? ` (${job.side})` : ""), status), tools, panes), right);

  const say = (kind: string, ...words: Parameters<typeof h>[2][]) => fill(status, h("span", { class: `state ${kind}` }, ...words));
  say(stateOf(job), text.states[stateOf(job)]);

  const run = { facts: null as RunFacts | null };
  const scene = new Scene([0, 0, 0]);
  const plan = planPanel(visit, job, scene);
  left.append(plan.root);

  const loadSolid = async (volume: Volume | null, slicePanes: readonly SlicePane[]) => {
    const [facts, bytes, schemas] = await Promise.all([api.get<RunFacts>(fileOf(id, "run.json")), api.bytes(fileOf(id, "model.glb"), signal), catalogue()]);
    run.facts = facts;
    plan.show(facts);
    const surfaces = readGlb(bytes);
    const moving = new Set(schemas.steps.filter((s) => s.movesModel).map((s) => s.name));
    const isPlaced = !facts.steps.some((s) => moving.has(s.name));
    if (volume && isPlaced) {
      const outliners = surfaces.map((s) => new Outliner(s, volume.space));
      for (const pane of slicePanes) pane.outliners = outliners;
    }
    showSolid(surfaces, isPlaced);
    readings(right, job, facts, solid, surfaces);
    panes.dataset["solidMs"] = String(Math.round(performance.now() - begin));
  };

  let solid: SolidPane | null = null;
  const maximise = (pane: HTMLElement) => {
    const alone = panes.classList.toggle("alone");
    for (const other of panes.children) other.classList.toggle("front", alone && other === pane);
    pane.focus();
  };
  const showSolid = (surfaces: readonly Surface[], isPlaced: boolean) => {
    try {
      solid ??= new SolidPane(scene, maximise);
      if (!solid.root.parentElement) panes.append(solid.root);
      solid.show(surfaces, isPlaced);
    } catch (e) {
      if (!(e instanceof NoWebGl)) throw e;
      panes.append(h("section", { class: "pane no-webgl", "aria-label": text.bench.solid }, h("img", { src: fileOf(id, "preview.png"), alt: text.jobs.picture(job.anatomy) }), h("p", { class: "notice" }, text.bench.noWebGl)));
    }
  };

  const volume = job.sourceId ? await Volume.open(job.sourceId, () => say("running", text.bench.unpacking), signal).catch((e: unknown) => {
    if (signal.aborted) throw e;
    panes.append(h("section", { class: "pane" }, trouble(e instanceof ApiError ? e : e, null)));
    return null;
  }) : null;
  panes.dataset["openMs"] = String(Math.round(performance.now() - begin));
  say(stateOf(job), text.states[stateOf(job)]);
  let slicePanes: SlicePane[] = [];
  if (volume) {
    scene.set({ point: volume.space.centre });
    slicePanes = (["slice", "row", "column"] as AxisName[]).map((axis) => new SlicePane(volume, axis, scene, maximise));
    // Transverse, frontal, sagittal, whatever the series' own order is.
    slicePanes.sort((a, b) => ORDER.indexOf(a.layout.plane) - ORDER.indexOf(b.layout.plane));
    panes.prepend(...slicePanes.map((p) => p.root));
    void volume.fetch("slice", slicePanes.find((p) => p.axis === "slice")!.slice).then(() => requestAnimationFrame(() => (panes.dataset["sliceMs"] = String(Math.round(performance.now() - begin)))));
    const band = bandPanel(volume.header, scene, (lower, upper) => plan.setBand(lower, upper));
    left.append(band);
  }
  toolbar(tools, scene);
  // What tests and people who measure look at: never used by the page itself.
  Object.assign(content, { bench: { scene, panes: () => slicePanes, solid: () => solid, volume } });

  if (job.state !== "done") plan.show(null);
  if (job.state === "done") await loadSolid(volume, slicePanes);
  else void follow();

  async function follow(): Promise<void> {
    while (!signal.aborted && !["done", "failed", "cancelled"].includes(job.state)) {
      say(stateOf(job), text.states[stateOf(job)]);
      fill(right, h("p", { class: "notice" }, text.bench.running));
      await new Promise((r) => setTimeout(r, LOOK_AGAIN_MS));
      job = await api.get<Job>(`jobs/${id}`);
    }
    if (signal.aborted) return;
    say(stateOf(job), text.states[stateOf(job)]);
    if (job.state === "done") {
      await loadSolid(volume, slicePanes);
      return;
    }
    fill(right, h("div", { class: "notice caution", role: "alert" }, h("strong", null, text.bench.failed), h("p", null, job.reason ?? text.states[job.state])));
  }
}

const ORDER = ["transverse", "frontal", "sagittal"];

function toolbar(root: HTMLElement, scene: Scene): void {
  const hint = h("span", { class: "hint" });
  const toolButtons = Object.entries(text.bench.tools).map(([tool, name]) => button(name, () => scene.set({ tool: tool as Tool }), { "data-tool": tool }));
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
    const { tool, window: grey, outlines, smooth: isSmooth, measures } = scene.state;
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
    hint.textContent = scene.state.task ?? text.bench.toolHints[tool] ?? "";
  };
  scene.watch(show);
  show();
}

function readings(root: HTMLElement, job: Job, facts: RunFacts, solid: SolidPane | null, surfaces: readonly Surface[]): void {
  const { mesh, origins } = facts.measurements;
  const size = mesh.boundsMm.max.map((c, n) => c - mesh.boundsMm.min[n]);
  const row = (name: string, value: string) => [h("dt", null, name), h("dd", null, value)];
  const order = ["stop", "caution", "note"];
  const colours = choice([["origin", text.bench.colours["origin"]], ["plain", text.bench.colours["plain"]]], "origin");
  colours.addEventListener("change", () => surfaces.forEach((s, n) => solid?.colour(n, colours.value === "plain" ? plain(s) : null)));
  fill(root,
    h("h2", null, text.bench.readings),
    h("dl", { class: "facts" },
      row(text.bench.isSolid, mesh.solid ? text.bench.yes : text.bench.no),
      row(text.bench.volume, text.cm3(mesh.volumeMm3)),
      row(text.bench.size, size.map((s) => text.mm(s).replace(" mm", "")).join(" × ") + " mm"),
      row(text.bench.area, `${text.count(mesh.areaMm2 / 100)} cm²`),
      row(text.bench.triangles, text.count(mesh.triangles)),
      row(text.bench.pieces, text.count(mesh.components))),
    solid && surfaces.length === 1 ? field(text.bench.colourBy, colours).root : null,
    h("h3", null, text.bench.origins),
    h("ul", { class: "legend" }, origins.map((o) => h("li", null, h("span", { class: `swatch origin-${o.origin}` }), `${text.bench.originNames[o.origin] ?? o.origin} ${text.share(o.share)}`))),
    surfaces.length > 1 ? [h("h3", null, text.bench.structures), h("ul", { class: "legend" }, surfaces.map((s, n) => {
      const box = h("input", { type: "checkbox", id: `structure-${n}`, checked: true });
      box.addEventListener("change", () => solid?.setVisible(n, box.checked));
      return h("li", null, box, h("label", { for: `structure-${n}` }, s.name));
    }))] : null,
    h("h2", null, text.bench.findings),
    facts.findings.length ? h("ul", { class: "findings" }, [...facts.findings].sort((a, b) => order.indexOf(a.severity) - order.indexOf(b.severity)).map((f) =>
      h("li", { class: f.severity }, h("strong", null, text.bench.severities[f.severity]), " ", f.message, h("p", { class: "hint" }, f.remedy)))) : h("p", { class: "hint" }, text.bench.noFindings),
    h("h2", null, text.bench.files),
    h("ul", { class: "files" }, ["model.stl", "model.3mf", "model.ply", "report.pdf", "record.json"].map((f) => h("li", null, h("a", { href: fileOf(job.id, f), download: f }, f)))));
}

function plain(surface: Surface): Float32Array {
  return new Float32Array((surface.colours.length / 4) * 3).fill(0.72);
}
