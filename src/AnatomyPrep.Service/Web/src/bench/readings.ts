/** What was measured of a model: figures, colours with their legend, findings in plain words, measures, files. */

import { api } from "../api";
import { button, choice, field, fill, h } from "../dom";
import { fileOf, Finding, Job, RunFacts } from "../jobs";
import { trouble } from "../shell";
import { text } from "../text";
import { legend, paint, Scale } from "../viewing/colours";
import type { Frame } from "../viewing/frame";
import type { Surface } from "../viewing/glb";
import type { Scene } from "../viewing/scene";
import { GREY, type SolidPane } from "../viewing/solid";
import { cross, dot, length, sub, unit, V3 } from "../viewing/space";

const ASK_AGAIN_MS = 400;
const FILES = ["model.stl", "model.3mf", "model.ply", "report.pdf", "label.pdf", "record.json"];

/** What a model can be coloured by; what needs measuring is measured by the service when it is asked for. */
const SCALES: Readonly<Record<string, Scale>> = {
  sensitivity: { kind: "steps", from: 0, to: 1, darkIsSmall: false, unit: "mm" },
  wall: { kind: "steps", from: 0, to: 4, darkIsSmall: true, unit: "mm" },
  gap: { kind: "steps", from: 0, to: 2, darkIsSmall: true, unit: "mm" },
  overhang: { kind: "steps", from: 0, to: 90, darkIsSmall: true, unit: "deg" },
  deviation: { kind: "signed", from: -1, to: 1, darkIsSmall: false, unit: "mm" },
  other: { kind: "signed", from: -1, to: 1, darkIsSmall: false, unit: "mm" },
};

/** One list of numbers for each solid; asked until the service has measured them. */
async function measured(job: string, what: string, other: string | null, surfaces: readonly Surface[], signal: AbortSignal): Promise<Float32Array[]> {
  const answer = await api.waited(`jobs/${job}/values/${what}${other ? `?other=${other}` : ""}`, ASK_AGAIN_MS, signal);
  const all = new Float32Array(await answer.arrayBuffer());
  let from = 0;
  return surfaces.map((s) => all.subarray(from, (from += s.positions.length / 3)));
}

/** Angle of the surface to the bed for what faces down, 0 flat to 90 upright; what faces up is not measured. */
export function overhangs(surface: Surface, up: V3): Float32Array {
  const { positions, indices } = surface;
  const normals = new Float64Array(positions.length);
  const at = (v: number): V3 => [positions[3 * v], positions[3 * v + 1], positions[3 * v + 2]];
  for (let t = 0; t < indices.length; t += 3) {
    const [a, b, c] = [indices[t], indices[t + 1], indices[t + 2]];
    // Twice the area long: large triangles count for more.
    const n = cross(sub(at(b), at(a)), sub(at(c), at(a)));
    for (const v of [a, b, c]) for (let k = 0; k < 3; k++) normals[3 * v + k] += n[k];
  }
  const angles = new Float32Array(positions.length / 3);
  for (let v = 0; v < angles.length; v++) {
    const down = -dot(unit([normals[3 * v], normals[3 * v + 1], normals[3 * v + 2]]), up);
    angles[v] = down <= 0 ? NaN : (Math.acos(Math.min(1, down)) * 180) / Math.PI;
  }
  return angles;
}

export interface Shown {
  readonly job: Job;
  readonly facts: RunFacts;
  readonly surfaces: readonly Surface[];
  readonly solid: SolidPane | null;
  readonly frame: Frame;
  readonly isPlaced: boolean;
  readonly signal: AbortSignal;
}

export function figures({ facts, frame, isPlaced }: Shown): HTMLElement {
  const { mesh } = facts.measurements;
  const size = mesh.boundsMm.max.map((c, n) => c - mesh.boundsMm.min[n]);
  const row = (name: string, value: string) => [h("dt", null, name), h("dd", null, value)];
  return h("section", { "aria-label": text.bench.readings },
    h("h2", null, text.bench.readings),
    h("dl", { class: "facts" },
      row(text.bench.isSolid, mesh.solid ? text.bench.yes : text.bench.no),
      row(text.bench.volume, text.cm3(mesh.volumeMm3)),
      row(text.bench.size, size.map((s) => text.mm(s).replace(" mm", "")).join(" × ") + " mm"),
      row(text.bench.area, `${text.count(mesh.areaMm2 / 100)} cm²`),
      row(text.bench.triangles, text.count(mesh.triangles)),
      row(text.bench.pieces, text.count(mesh.components))),
    isPlaced && frame.moves ? h("p", { class: "hint" }, text.bench.shownInPlace(frame.scale)) : null);
}

export function colours(shown: Shown, other: () => string | null): HTMLElement {
  const { job, facts, surfaces, solid, frame, isPlaced, signal } = shown;
  const show = h("div", { class: "stack", role: "status" });
  const kinds = ["origin", "plain", ...(job.sourceId ? ["sensitivity"] : []), "wall", "gap", "overhang", ...(job.sourceId && surfaces.length === 1 ? ["deviation"] : []), "other"];
  const by = choice(kinds.map((k) => [k, text.bench.colours[k]] as const), "origin");
  const reach = h("input", { type: "number", min: 0.05, max: 50, step: "any" });
  const reachField = field(text.bench.upTo, reach);
  const origins = () => [h("p", { class: "hint" }, text.bench.origins), h("ul", { class: "legend" }, facts.measurements.origins.map((o) => h("li", null, h("span", { class: `swatch origin-${o.origin}` }), `${text.bench.originNames[o.origin] ?? o.origin} ${text.share(o.share)}`)))];
  let values: readonly Float32Array[] = [];
  const draw = () => {
    const base = SCALES[by.value];
    const to = Number(reach.value) > 0 ? Number(reach.value) : base.to;
    const scale = { ...base, to: base.unit === "deg" ? base.to : to, from: base.kind === "signed" ? -to : base.from };
    values.forEach((v, n) => {
      solid?.colour(n, paint(scale, v));
      solid?.setValues(n, v, (value) => text.bench.valueHere(by.value, value, base.unit));
    });
    fill(show, legend(scale, text.bench.colours[by.value], values.some((v) => v.some(Number.isNaN)) ? (by.value === "overhang" ? text.colours.facesUp : text.colours.unknown) : null), h("p", { class: "hint" }, text.bench.colourHints[by.value] ?? ""), base.unit === "mm" ? reachField.root : null);
  };
  const change = async () => {
    const wanted = by.value;
    if (wanted === "origin" || wanted === "plain") {
      surfaces.forEach((s, n) => {
        solid?.colour(n, wanted === "plain" ? new Float32Array((s.colours.length / 4) * 3).fill(GREY) : null);
        solid?.setValues(n, null, () => "");
      });
      fill(show, wanted === "origin" ? origins() : null);
      return;
    }
    if (wanted === "other" && !other()) {
      fill(show, h("p", { class: "notice" }, text.bench.chooseOther));
      return;
    }
    fill(show, h("p", { class: "hint" }, text.bench.measuring));
    try {
      // Up is what the model lies on: its own third axis, wherever it is shown.
      const up = isPlaced ? frame.directionToPatient([0, 0, 1]) : ([0, 0, 1] as V3);
      const found = wanted === "overhang" ? surfaces.map((s) => overhangs(s, up)) : await measured(job.id, wanted, wanted === "other" ? other() : null, surfaces, signal);
      if (by.value !== wanted) return;
      values = found;
      reach.value = String(SCALES[wanted].to);
      draw();
    } catch (e) {
      if (!signal.aborted) fill(show, trouble(e, () => void change()));
    }
  };
  by.addEventListener("change", () => void change());
  reach.addEventListener("change", draw);
  fill(show, origins());
  return h("div", { class: "stack" }, field(text.bench.colourBy, by).root, show);
}

export function structures({ surfaces, solid }: Shown): HTMLElement | null {
  if (surfaces.length < 2) return null;
  return h("section", { "aria-label": text.bench.structures }, h("h3", null, text.bench.structures), h("ul", { class: "legend" }, surfaces.map((s, n) => {
    const box = h("input", { type: "checkbox", id: `structure-${n}`, checked: true });
    box.addEventListener("change", () => solid?.setVisible(n, box.checked));
    return h("li", null, box, h("label", { for: `structure-${n}` }, s.name));
  })));
}

const ORDER = ["stop", "caution", "note"];

/** Worst first, each with what to do, and a way to its place. */
export function findingsList(findings: readonly Finding[], goTo: ((at: V3) => void) | null): HTMLElement {
  if (findings.length === 0) return h("p", { class: "hint" }, text.bench.noFindings);
  return h("ul", { class: "findings" }, [...findings].sort((a, b) => ORDER.indexOf(a.severity) - ORDER.indexOf(b.severity)).map((f) => {
    const at = f.place?.positionMm;
    return h("li", { class: f.severity }, h("strong", null, text.findings[f.code] ?? text.bench.severities[f.severity]), " ", f.message, h("p", { class: "hint" }, f.remedy), at && goTo ? button(text.bench.showPlace, () => goTo(at), { class: "small" }) : null);
  }));
}

/** The lengths that were measured, as a list: to read, to go to, to take away. */
export function measuresList(scene: Scene): HTMLElement {
  const root = h("section", { "aria-label": text.bench.measures });
  const draw = () => {
    const { measures, modelScale } = scene.state;
    fill(root, measures.length ? [h("h2", null, text.bench.measures), h("ol", { class: "measures" }, measures.map((m, n) => h("li", null,
      h("span", null, text.bench.measured(length(sub(m.to, m.from)), modelScale)),
      button(text.bench.showPlace, () => scene.set({ point: m.from }), { class: "small", "aria-label": text.bench.showMeasure(n + 1) }),
      button(text.bench.removeStep, () => scene.set({ measures: measures.filter((_, k) => k !== n) }), { class: "small", "aria-label": text.bench.removeMeasure(n + 1) }))))] : null);
  };
  scene.watch((_, changed) => {
    if (changed.has("measures") || changed.has("modelScale")) draw();
  });
  draw();
  return root;
}

export function files(job: Job): HTMLElement {
  return h("section", { "aria-label": text.bench.files }, h("h2", null, text.bench.files), h("ul", { class: "files" }, FILES.map((f) => h("li", null, h("a", { href: fileOf(job.id, f), download: f }, f)))));
}
