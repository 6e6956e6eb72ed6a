/** A plan while it is edited: the text that the service gave, and the lists of steps in it. What is not a step stays as it was. */

import type { RunFacts } from "../jobs";

export interface Step {
  readonly name: string;
  readonly parameters: Readonly<Record<string, unknown>>;
  /** Number among the steps that were run; null for a step that was added here. */
  readonly ran: number | null;
}

/** Steps that follow each other: those of the whole plan first, then those of each structure. */
export interface StepList {
  /** Null for the steps of the whole plan. */
  readonly structure: string | null;
  readonly steps: readonly Step[];
}

type PlanStep = string | Readonly<Record<string, Readonly<Record<string, unknown>> | null>>;

/** As docs of plans have it; keys that are not named here are kept too. */
export interface PlanText {
  readonly plan: string;
  readonly version: string | number;
  readonly steps?: readonly PlanStep[];
  readonly structures?: readonly { readonly name: string; readonly steps: readonly PlanStep[] }[];
}

const CHANGED = "-changed";

export function listsOf(plan: PlanText): StepList[] {
  return [{ structure: null, steps: (plan.steps ?? []).map(stepOf) }, ...(plan.structures ?? []).map((s) => ({ structure: String(s.name), steps: s.steps.map(stepOf) }))];
}

/** Says of each step which of those that were run it is: they stand in the same order, and the request may have added some at the end. */
export function withRuns(lists: readonly StepList[], facts: RunFacts): StepList[] {
  return lists.map((list) => {
    const ran = facts.steps.map((s, n) => ({ ...s, n })).filter((s) => (s.structure ?? null) === list.structure);
    return { ...list, steps: list.steps.map((s, n) => ({ ...s, parameters: ran[n]?.name === s.name ? { ...ran[n].parameters, ...s.parameters } : s.parameters, ran: ran[n]?.name === s.name ? ran[n].n : null })) };
  });
}

/** The whole plan with other steps: printProfile, structures with their colours and sides, and whatever else it holds go along. */
export function planOf(base: PlanText, lists: readonly StepList[]): PlanText {
  const [common, ...structures] = lists;
  const version = String(base.version);
  return {
    ...base,
    version: version.endsWith(CHANGED) ? version : `${version}${CHANGED}`,
    ...(common.steps.length > 0 || base.steps ? { steps: common.steps.map(textOf) } : {}),
    ...(base.structures ? { structures: base.structures.map((s, n) => ({ ...s, steps: structures[n].steps.map(textOf) })) } : {}),
  };
}

function stepOf(step: PlanStep): Step {
  if (typeof step === "string") return { name: step, parameters: {}, ran: null };
  const [name, parameters] = Object.entries(step)[0];
  return { name, parameters: parameters ?? {}, ran: null };
}

function textOf(step: Step): PlanStep {
  // What a step leaves out stays out.
  return { [step.name]: Object.fromEntries(Object.entries(step.parameters).filter(([, value]) => value !== null && value !== undefined)) };
}
