/** Another model of the same images beside this one: its outline on the slices, itself in place of this one, and the distance between them. */

import { api } from "../api";
import { button, choice, field, fill, h } from "../dom";
import { fileOf, Job, listJobs, RunFacts } from "../jobs";
import { trouble } from "../shell";
import { text } from "../text";
import { Frame } from "../viewing/frame";
import { readGlb } from "../viewing/glb";
import { Outliner } from "../viewing/outline";
import type { SlicePane } from "../viewing/plane";
import type { Scene } from "../viewing/scene";
import type { SolidPane } from "../viewing/solid";
import type { Volume } from "../viewing/volume";

export interface ComparePanel {
  readonly root: HTMLElement;
  /** Id of the other model; null for none. */
  readonly other: () => string | null;
}

export function comparePanel(job: Job, scene: Scene, volume: Volume | null, panes: readonly SlicePane[], solid: SolidPane | null, first: string | null, signal: AbortSignal): ComparePanel {
  const select = choice([["", text.bench.noOther]]);
  const toggle = button(text.bench.before, () => scene.set({ before: !scene.state.before }), { "aria-keyshortcuts": "b", hidden: true });
  const note = h("div", { role: "status" });
  let shown: string | null = null;
  const show = async (id: string | null) => {
    shown = null;
    toggle.hidden = true;
    scene.set({ before: false });
    for (const pane of panes) pane.others = [];
    solid?.showOther([]);
    fill(note);
    if (!id) return;
    try {
      const [facts, bytes] = await Promise.all([api.get<RunFacts>(fileOf(id, "run.json")), api.bytes(fileOf(id, "model.glb"), signal)]);
      if ((select.value || null) !== id) return;
      const frame = Frame.of(facts.measurements.deviation?.modelFromPatient);
      const surfaces = readGlb(bytes).map((s) => frame.backIntoPlace(s));
      if (volume) for (const pane of panes) pane.others = surfaces.map((s) => new Outliner(s, volume.space));
      solid?.showOther(surfaces);
      shown = id;
      toggle.hidden = solid === null;
      fill(note, h("p", { class: "hint" }, text.bench.otherHint));
    } catch (e) {
      if (!signal.aborted) fill(note, trouble(e, () => void show(id)));
    }
  };
  select.addEventListener("change", () => void show(select.value || null));
  scene.watch((state, changed) => {
    if (changed.has("before")) toggle.setAttribute("aria-pressed", String(state.before));
  });
  void listJobs().then((jobs) => {
    const others = jobs.filter((j) => j.id !== job.id && j.sourceId === job.sourceId && j.sourceId !== null && j.state === "done");
    for (const j of others) select.append(h("option", { value: j.id }, text.bench.otherOption(j.anatomy, j.createdBy, text.moment(j.createdAt))));
    if (first && others.some((j) => j.id === first)) {
      select.value = first;
      void show(first);
    }
  }).catch((e: unknown) => {
    if (!signal.aborted) fill(note, trouble(e, null));
  });
  return { root: h("div", { class: "stack" }, field(text.bench.compare, select).root, toggle, note), other: () => shown };
}
