/** The plan as a list of steps that can be changed, moved, removed and added; made again as a new model. */

import { api, ApiError } from "../api";
import { button, choice, field, fill, h } from "../dom";
import type { Job, RunFacts } from "../jobs";
import type { Visit } from "../main";
import { trouble } from "../shell";
import { text } from "../text";
import type { Scene } from "../viewing/scene";
import { ParameterSchema, StepSchema, stepSchemas } from "./steps";

interface Step {
  readonly name: string;
  readonly parameters: Record<string, unknown>;
  /** Number in the plan that was run; null for a step that was added here. */
  readonly ran: number | null;
}

export interface PlanPanel {
  readonly root: HTMLElement;
  readonly show: (facts: RunFacts) => void;
  readonly showEmpty: () => void;
  readonly setBand: (lowerHu: number, upperHu: number) => void;
}

export function planPanel(visit: Visit, job: Job, scene: Scene): PlanPanel {
  const draft = `plan-${job.id}`;
  const list = h("ol", { class: "steps" });
  const note = h("div", { role: "status" });
  const heading = h("h2", null, text.bench.plan);
  let facts: RunFacts | null = null;
  let original: Step[] = [];
  let steps: Step[] = [];
  let removed: { readonly step: Step; readonly at: number } | null = null;
  let schema: StepSchema[] = [];
  const adding = choice([["", text.bench.addStep]]);
  adding.setAttribute("aria-label", text.bench.addStep);
  const rerun = button(text.bench.rerun, () => void again(), { class: "primary" });
  const reset = button(text.bench.resetPlan, () => change(original));
  const root = h("section", { class: "plan" }, heading, note, list, adding, h("div", { class: "row" }, reset, rerun), h("p", { class: "hint" }, text.bench.rerunHint));

  const change = (to: Step[]) => {
    steps = to;
    if (steps === original) sessionStorage.removeItem(draft);
    else sessionStorage.setItem(draft, JSON.stringify(steps));
    draw();
  };
  const draw = () => {
    const isChanged = JSON.stringify(steps) !== JSON.stringify(original);
    reset.hidden = !isChanged;
    rerun.disabled = !isChanged || steps.length === 0 || !["technician", "coordinator"].includes(api.session!.role);
    fill(list, steps.map((step, n) => row(step, n)));
  };
  const put = (at: number, step: Step) => change(steps.map((s, n) => (n === at ? step : s)));
  const row = (step: Step, n: number): HTMLElement => {
    const spec = schema.find((s) => s.name === step.name);
    const effect = step.ran === null ? null : facts?.steps[step.ran]?.effect;
    const wasChanged = step.ran === null || JSON.stringify(original.find((o) => o.ran === step.ran)?.parameters) !== JSON.stringify(step.parameters);
    const names = Object.keys(spec?.parameters ?? step.parameters);
    return h("li", { class: wasChanged ? "changed" : "" },
      h("details", null,
        h("summary", null, h("span", { class: "step-name" }, step.name), effect?.changedAreaMm2 !== undefined ? h("span", { class: "hint" }, text.bench.stepEffect(effect.changedAreaMm2, effect.maxDisplacementMm ?? null)) : null),
        spec ? h("p", { class: "hint" }, spec.description) : null,
        names.length ? names.map((name) => parameter(step, name, spec?.parameters[name] ?? {}, (value) => {
          const { [name]: _, ...others } = step.parameters;
          put(n, { ...step, parameters: value === undefined ? others : { ...step.parameters, [name]: value } });
        }, scene)) : h("p", { class: "hint" }, text.bench.noParameters),
        h("div", { class: "row" },
          n > 0 ? button(text.bench.up, () => change(swapped(steps, n - 1))) : null,
          n < steps.length - 1 ? button(text.bench.down, () => change(swapped(steps, n))) : null,
          button(text.bench.removeStep, () => {
            removed = { step, at: n };
            change(steps.filter((_, m) => m !== n));
            fill(note, h("div", { class: "notice" }, text.bench.removed(step.name), " ", button(text.bench.undoRemove, () => {
              if (removed) change([...steps.slice(0, removed.at), removed.step, ...steps.slice(removed.at)]);
              removed = null;
              fill(note);
            })));
          }))));
  };
  const again = async () => {
    rerun.disabled = true;
    try {
      const plan = { plan: facts?.plan.name ?? job.plan, version: `${facts?.plan.version ?? "1"}-changed`, steps: steps.map((s) => ({ [s.name]: s.parameters })) };
      const made = await api.send<Job>("POST", `jobs/${job.id}/again`, { plan: JSON.stringify(plan) });
      sessionStorage.removeItem(draft);
      visit.go(`/bench/${made.id}`);
    } catch (e) {
      fill(note, e instanceof ApiError ? h("div", { class: "notice caution", role: "alert" }, e.message) : trouble(e, null));
      draw();
    }
  };
  adding.addEventListener("change", () => {
    const spec = schema.find((s) => s.name === adding.value);
    adding.value = "";
    if (!spec) return;
    const parameters = Object.fromEntries(Object.entries(spec.parameters).filter(([, p]) => p.default !== undefined).map(([name, p]) => [name, p.default]));
    change([...steps, { name: spec.name, parameters, ran: null }]);
  });
  const loaded = stepSchemas().then((s) => {
    schema = s;
    for (const spec of schema) adding.append(h("option", { value: spec.name }, spec.name));
  }).catch((e: unknown) => fill(note, trouble(e, null)));
  const begin = async (ran: Step[]) => {
    await loaded;
    original = ran;
    const kept = sessionStorage.getItem(draft);
    steps = kept ? (JSON.parse(kept) as Step[]) : original;
    draw();
  };
  return {
    root,
    show: (now) => {
      facts = now;
      fill(heading, text.bench.planOf(now.plan.name, now.plan.version));
      void begin(now.steps.map((s, ran) => ({ name: s.name, parameters: s.parameters, ran })));
    },
    // A model that failed has no facts: its plan is the preset's.
    showEmpty: () => void api.get<{ steps?: (string | Record<string, Record<string, unknown>>)[] }>(`viewing/plans/${job.plan}`).then((p) => begin((p.steps ?? []).map((s) => typeof s === "string" ? { name: s, parameters: {}, ran: null } : { name: Object.keys(s)[0], parameters: Object.values(s)[0] ?? {}, ran: null }))).catch(() => undefined),
    setBand: (lowerHu, upperHu) => {
      const at = steps.findIndex((s) => s.name === "threshold");
      if (at >= 0) put(at, { ...steps[at], parameters: { ...steps[at].parameters, lowerHu, upperHu } });
      else change([{ name: "threshold", parameters: { lowerHu, upperHu }, ran: null }, ...steps]);
    },
  };
}

/** A control for one parameter, by its schema; places are taken from the point. */
function parameter(step: Step, name: string, spec: ParameterSchema, set: (value: unknown) => void, scene: Scene): HTMLElement {
  const value = step.parameters[name] ?? spec.default;
  const range = spec.minimum !== undefined || spec.maximum !== undefined ? ` (${spec.minimum ?? "…"} to ${spec.maximum ?? "…"})` : "";
  const hint = spec.description ? `${spec.description}${range}` : null;
  if (spec.enum) {
    const select = choice(spec.enum.map((v) => [v, v] as const), String(value ?? spec.enum[0]));
    select.addEventListener("change", () => set(select.value));
    return field(name, select, hint).root;
  }
  if (spec.type === "boolean" || typeof value === "boolean") {
    const box = h("input", { type: "checkbox", checked: value === true });
    box.addEventListener("change", () => set(box.checked));
    return field(name, box, hint).root;
  }
  if (spec.type === "array" || Array.isArray(value)) {
    const input = h("input", { value: value === undefined || value === null ? "" : JSON.stringify(value) });
    const made = field(name, input, hint);
    input.addEventListener("change", () => {
      try {
        set(input.value.trim() ? JSON.parse(input.value) : undefined);
      } catch {
        made.fault("[1, 2, 3]");
      }
    });
    return h("div", null, made.root, button(text.bench.takePoint, () => set(scene.state.point.map((c) => Math.round(c * 100) / 100))));
  }
  const isNumber = spec.type === "number" || spec.type === "integer" || typeof value === "number";
  const input = h("input", { type: isNumber ? "number" : "text", step: spec.type === "integer" ? 1 : "any", min: spec.minimum, max: spec.maximum, value: value === undefined || value === null ? "" : String(value) });
  input.addEventListener("change", () => set(input.value === "" ? undefined : isNumber ? Number(input.value) : input.value));
  return field(name, input, hint).root;
}

function swapped(steps: readonly Step[], at: number): Step[] {
  const to = [...steps];
  [to[at], to[at + 1]] = [to[at + 1], to[at]];
  return to;
}
