/** The plan as lists of steps that can be changed, moved, removed and added; made again as a new model. */

import { api, ApiError, LineLost } from "../api";
import { button, choice, fill, h } from "../dom";
import type { Job, RunFacts } from "../jobs";
import type { Visit } from "../main";
import { trouble } from "../shell";
import { text } from "../text";
import type { Frame } from "../viewing/frame";
import type { Scene } from "../viewing/scene";
import { listsOf, planOf, PlanText, Step, StepList, withRuns } from "./draft";
import { parameterControl } from "./parameter";
import { picturesOf, Placing, placingsOf, toModel, toPatient } from "./places";
import { Rim, rimAt, rimsOf, toggled } from "./rims";
import { Catalogue, catalogue, STAGES, StepSchema } from "./steps";

export interface PlanPanel {
  readonly root: HTMLElement;
  /** With what the run did at each step, where there was one. @param frame where its model lies; null when nobody knows. */
  readonly show: (facts: RunFacts | null, frame: Frame | null) => void;
  readonly setBand: (lowerHu: number, upperHu: number) => void;
  /** Adds a step where it belongs, and opens it. */
  readonly add: (name: string) => void;
}

/** What the places of a step are places of. */
type Place = "both" | "images" | "solid" | "moved" | "between";

interface Kept {
  readonly lists: readonly StepList[];
}

/** Kept in this tab: an ended session or a broken line costs no work. */
const draftKey = (job: string): string => `plan-${job}`;

export function planPanel(visit: Visit, job: Job, scene: Scene): PlanPanel {
  const body = h("div", { class: "stack" });
  const note = h("div", { role: "status" });
  const heading = h("h2", null, text.bench.plan);
  const may = ["technician", "coordinator"].includes(api.session!.role);
  let known: Catalogue = { steps: [], ofStructures: new Set() };
  let base: PlanText | null = null;
  let facts: RunFacts | null = null;
  let frame: Frame | null = null;
  let original: readonly StepList[] = [];
  let lists: readonly StepList[] = [];
  let opened: string | null = null;
  let rims: readonly Rim[] | null = null;
  let isAsked = false;
  let active: { readonly at: string; readonly placing: Placing } | null = null;
  const rerun = button(text.bench.rerun, () => void again(), { class: "primary" });
  const reset = button(text.bench.resetPlan, () => change(original));
  const root = h("section", { class: "plan", "aria-label": text.bench.plan }, heading, note, body, h("div", { class: "row" }, rerun, reset), h("p", { class: "hint" }, text.bench.rerunHint));

  // What is being written counts when the field is left: pressing the button does that, so it must be there to be pressed.
  body.addEventListener("input", () => (rerun.disabled = !may));

  const specOf = (step: Step): StepSchema | undefined => known.steps.find((s) => s.name === step.name);
  const plain = (of: readonly StepList[]) => JSON.stringify(of.map((l) => l.steps.map((s) => [s.name, s.parameters])));
  const change = (to: readonly StepList[]) => {
    lists = to;
    if (plain(lists) === plain(original)) sessionStorage.removeItem(draftKey(job.id));
    else sessionStorage.setItem(draftKey(job.id), JSON.stringify({ lists } satisfies Kept));
    draw();
  };
  const setSteps = (l: number, steps: readonly Step[]) => change(lists.map((list, n) => (n === l ? { ...list, steps } : list)));
  const put = (l: number, n: number, parameters: Step["parameters"]) => setSteps(l, lists[l].steps.map((s, m) => (m === n ? { ...s, parameters } : s)));

  /** Steps after those that move the model mean places of the model as it lies then; those before, places of the images. */
  const whereOf = (l: number, n: number): Place => {
    const moves = lists[l].steps.map((s) => specOf(s)?.movesModel ?? false);
    const [first, last] = [moves.indexOf(true), moves.lastIndexOf(true)];
    if (first < 0 || n <= first) return frame || !facts ? "both" : "images";
    return n <= last ? "between" : frame ? "moved" : "solid";
  };

  const draw = () => {
    // What had the focus gets it again: rows are made anew.
    const held = document.activeElement instanceof HTMLElement && root.contains(document.activeElement) ? document.activeElement.dataset["key"] : undefined;
    const isChanged = plain(lists) !== plain(original);
    reset.hidden = !isChanged;
    rerun.disabled = !isChanged || !may || lists.every((l) => l.steps.length === 0);
    fill(body, lists.map((list, l) => section(list, l)));
    if (held) root.querySelector<HTMLElement>(`[data-key="${CSS.escape(held)}"]`)?.focus();
    pictures();
  };

  /** A step that names holes by number. Its numbers are those of the model that is here only while the step is all that was changed, and no other changes the solid after it. */
  const namesHoles = (spec: StepSchema | undefined) => spec !== undefined && "holes" in spec.parameters;
  const knowsHoles = (l: number, n: number): boolean =>
    facts !== null && lists.length === 1 && plain(lists.map((list) => ({ ...list, steps: list.steps.filter((_, m) => m !== n) }))) === plain(original)
    && lists[l].steps.slice(n + 1).every((s) => !["repair", "shape", "prepare"].includes(specOf(s)?.stage ?? ""));
  const holes: Placing = {
    ...text.places.holes, tool: "pick",
    pick: (values, at) => {
      const rim = rimAt(rims ?? [], at);
      if (!rim) return values;
      const { holes: before, ...others } = values;
      const after = toggled(before, rim);
      return after ? { ...others, holes: after } : others;
    },
  };
  const holeMarks = (step: Step, where: "both" | "solid") => (rims ?? []).map((rim) => ({ at: rim.centerMm, label: text.places.hole(rim.number, Array.isArray(step.parameters["holes"]) && step.parameters["holes"].includes(rim.number)), where }));
  const askRims = () => {
    if (isAsked) return;
    isAsked = true;
    void rimsOf(job.id, visit.signal).then((found) => {
      rims = found;
      draw();
    }).catch((e: unknown) => {
      isAsked = false;
      if (!visit.signal.aborted) fill(note, trouble(e, null));
    });
  };

  const pictures = () => {
    const [l, n] = (opened ?? "0/-1").split("/").map(Number);
    const step = lists[l]?.steps[n];
    const spec = step && specOf(step);
    const place = step ? whereOf(l, n) : "between";
    if (!step || !spec || place === "between") scene.set({ marks: [], shapes: [] });
    else {
      const own = picturesOf(step, spec, place === "moved" ? "both" : place);
      const isOfHoles = namesHoles(spec) && knowsHoles(l, n);
      if (isOfHoles) askRims();
      const all = isOfHoles ? { ...own, marks: [...own.marks, ...holeMarks(step, place === "solid" ? "solid" : "both")] } : own;
      scene.set(place === "moved" ? toPatient(all, frame!) : all);
    }
  };

  const section = (list: StepList, l: number): HTMLElement => {
    const allowed = known.steps.filter((s) => l === 0 || known.ofStructures.has(s.name));
    const label = list.structure === null ? text.bench.addStep : text.bench.addStepTo(list.structure);
    const adding = choice([["", label], ...allowed.map((s) => [s.name, s.name] as const)]);
    adding.setAttribute("aria-label", label);
    adding.dataset["key"] = `add/${l}`;
    // Not as soon as it is chosen: by keyboard each letter chooses.
    const add = button(text.bench.add, () => addStep(adding.value, l), { "data-key": `add-now/${l}`, "aria-label": list.structure === null ? text.bench.addNow : text.bench.addNowTo(list.structure) });
    return h("div", { class: "step-list" }, lists.length > 1 ? h("h3", null, list.structure ?? text.bench.forAll) : null, h("ol", { class: "steps" }, list.steps.map((step, n) => row(list, step, l, n))), may ? h("div", { class: "adding" }, adding, add) : null);
  };

  const row = (list: StepList, step: Step, l: number, n: number): HTMLElement => {
    const at = `${l}/${n}`;
    const spec = specOf(step);
    const effect = step.ran === null ? null : facts?.steps[step.ran]?.effect;
    // Where nothing was run yet, a step is the one that stood in its place.
    const before = facts === null ? original[l]?.steps[n] : step.ran === null ? undefined : original[l]?.steps.find((o) => o.ran === step.ran);
    const isChanged = !before || before.name !== step.name || JSON.stringify(before.parameters) !== JSON.stringify(step.parameters);
    const names = Object.keys(spec?.parameters ?? step.parameters);
    const where = whereOf(l, n);
    const details = h("details", { open: opened === at },
      h("summary", { "data-key": `${at}/summary` }, h("span", { class: "step-name" }, step.name), effect?.changedAreaMm2 !== undefined ? h("span", { class: "hint" }, text.bench.stepEffect(effect.changedAreaMm2, effect.maxDisplacementMm ?? null)) : null),
      spec ? h("p", { class: "hint" }, spec.description) : null,
      spec && may && where !== "between" ? h("div", { class: "row" }, placingsOf(spec).map((placing) => placingButton(placing, l, n)), namesHoles(spec) && knowsHoles(l, n) && rims?.length ? placingButton(holes, l, n) : null) : null,
      namesHoles(spec) ? h("p", { class: "hint" }, !knowsHoles(l, n) ? text.places.holesUnknown : rims === null ? text.shell.loading : text.places.openHoles(rims.length)) : null,
      where === "between" ? h("p", { class: "hint" }, text.places.between) : where === "solid" ? h("p", { class: "hint" }, text.places.onSolid) : null,
      names.length ? names.map((name) => parameterControl(`${at}/${name}`, name, spec?.parameters[name] ?? {}, step.parameters[name], spec?.required.includes(name) ?? false, (value) => {
        const { [name]: _, ...others } = step.parameters;
        put(l, n, value === undefined ? others : { ...step.parameters, [name]: value });
      }, () => (where === "moved" ? frame!.toModel(scene.state.point) : scene.state.point))) : h("p", { class: "hint" }, text.bench.noParameters),
      may ? h("div", { class: "row" },
        n > 0 ? button(text.bench.up, () => move(list, l, n, n - 1), { "data-key": `${at}/up` }) : null,
        n < list.steps.length - 1 ? button(text.bench.down, () => move(list, l, n, n + 1), { "data-key": `${at}/down` }) : null,
        button(text.bench.removeStep, () => remove(list, l, n), { "data-key": `${at}/remove` })) : null);
    details.addEventListener("toggle", () => {
      if (details.open === (opened === at)) return;
      opened = details.open ? at : null;
      endPlacing();
      draw();
    });
    return h("li", { class: isChanged ? "changed" : "" }, details);
  };

  const move = (list: StepList, l: number, from: number, to: number) => {
    const steps = [...list.steps];
    [steps[from], steps[to]] = [steps[to], steps[from]];
    opened = `${l}/${to}`;
    setSteps(l, steps);
  };

  const remove = (list: StepList, l: number, n: number) => {
    const earlier = lists;
    endPlacing();
    opened = null;
    setSteps(l, list.steps.filter((_, m) => m !== n));
    const undo = button(text.bench.undoRemove, () => {
      change(earlier);
      fill(note);
    });
    fill(note, h("div", { class: "notice" }, text.bench.removed(list.steps[n].name), " ", undo));
    undo.focus();
  };

  /** After the last step of its own stage or an earlier one, so that a grey-value step comes before the surface; holes are those of the model that is seen, so what fills them goes behind all that shapes it. */
  const addStep = (name: string, l: number) => {
    const spec = known.steps.find((s) => s.name === name);
    if (!spec) return;
    const stage = (s: string) => STAGES.indexOf(s as (typeof STAGES)[number]);
    const { steps } = lists[l];
    let n = steps.length;
    const last = stage(namesHoles(spec) ? "prepare" : spec.stage);
    while (n > 0 && stage(specOf(steps[n - 1])?.stage ?? "") > last) n--;
    const parameters = Object.fromEntries(Object.entries(spec.parameters).filter(([, p]) => p.default !== undefined).map(([key, p]) => [key, p.default]));
    opened = `${l}/${n}`;
    setSteps(l, [...steps.slice(0, n), { name, parameters, ran: null }, ...steps.slice(n)]);
    root.querySelector<HTMLElement>(`[data-key="${l}/${n}/summary"]`)?.focus();
  };

  const placingButton = (placing: Placing, l: number, n: number): HTMLButtonElement => {
    const at = `${l}/${n}`;
    const isOn = active?.at === at && active.placing.label === placing.label;
    return button(placing.label, () => (isOn ? endPlacing() : startPlacing(placing, l, n)), { "aria-pressed": String(isOn), "data-key": `${at}/place/${placing.label}` });
  };

  const startPlacing = (placing: Placing, l: number, n: number) => {
    active = { at: `${l}/${n}`, placing };
    const where = whereOf(l, n);
    const refuses = (pane: "slice" | "solid") => (where === "solid" && pane === "slice") || (where === "images" && pane === "solid") || (placing.only !== undefined && placing.only !== pane);
    const refused = (pane: "slice" | "solid") => fill(note, h("p", { class: "notice caution" }, pane === "slice" ? text.places.notOnSlices : text.places.notOnSolid));
    const values = () => lists[l].steps[n].parameters;
    scene.picked = (at, pane) => {
      if (refuses(pane)) refused(pane);
      else if (placing.pick) put(l, n, placing.pick(values(), where === "moved" ? frame!.toModel(at) : at));
    };
    scene.drawn = (gesture) => {
      if (refuses(gesture.pane)) refused(gesture.pane);
      else if (placing.draw) put(l, n, placing.draw(values(), where === "moved" ? toModel(gesture, frame!) : gesture));
    };
    scene.set({ tool: placing.tool, task: placing.hint, sketch: [] });
    draw();
  };
  const endPlacing = () => {
    if (!active) return;
    active = null;
    scene.rest();
    draw();
  };
  // Another tool was taken: what was being placed is done.
  scene.watch((state, changed) => {
    if (active && changed.has("tool") && state.tool !== active.placing.tool) endPlacing();
  });

  const again = async () => {
    if (!base) return;
    rerun.disabled = true;
    try {
      const made = await api.send<{ id: string }>("POST", `jobs/${job.id}/again`, { plan: JSON.stringify(planOf(base, lists)) });
      sessionStorage.removeItem(draftKey(job.id));
      // The new model opens where this one was looked at, with this one to compare.
      sessionStorage.setItem(`look-${made.id}`, JSON.stringify({ point: scene.state.point, window: scene.state.window, before: facts ? job.id : null }));
      visit.go(`/bench/${made.id}`);
    } catch (e) {
      fill(note, e instanceof ApiError ? h("div", { class: "notice caution", role: "alert" }, e.message) : e instanceof LineLost ? h("div", { class: "notice caution", role: "alert" }, text.bench.draftStays) : trouble(e, null));
      draw();
    }
  };

  const loaded = Promise.all([catalogue(), api.get<PlanText>(`jobs/${job.id}/plan`)]).then(([steps, plan]) => {
    known = steps;
    base = plan;
  });
  return {
    root,
    show: (now, where) => {
      facts = now;
      frame = where;
      void loaded.then(() => {
        if (!base) return;
        fill(heading, text.bench.planOf(base.plan, String(base.version)));
        original = now ? withRuns(listsOf(base), now) : listsOf(base);
        const kept = sessionStorage.getItem(draftKey(job.id));
        lists = kept ? (JSON.parse(kept) as Kept).lists : original;
        draw();
      }).catch((e: unknown) => {
        if (!visit.signal.aborted) fill(note, trouble(e, null));
      });
    },
    setBand: (lowerHu, upperHu) => {
      const l = lists.findIndex((list) => list.steps.some((s) => s.name === "threshold"));
      const n = l < 0 ? -1 : lists[l].steps.findIndex((s) => s.name === "threshold");
      if (n >= 0) {
        opened = `${l}/${n}`;
        put(l, n, { ...lists[l].steps[n].parameters, lowerHu, upperHu });
      } else {
        opened = "0/0";
        setSteps(0, [{ name: "threshold", parameters: { lowerHu, upperHu }, ran: null }, ...lists[0].steps]);
      }
    },
    add: (name) => addStep(name, 0),
  };
}
