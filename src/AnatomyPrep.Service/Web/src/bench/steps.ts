/** The steps there are, as the schema of plans tells; asked for once. */

import { api } from "../api";

export interface ParameterSchema {
  readonly type?: string;
  readonly enum?: readonly string[];
  readonly minimum?: number;
  readonly maximum?: number;
  readonly minItems?: number;
  readonly description?: string;
  readonly default?: unknown;
  readonly items?: { readonly type?: string };
}

/** In the order in which a plan goes through them. */
export const STAGES = ["acquire", "volume", "segment", "surface", "repair", "shape", "prepare", "verify", "record"] as const;

export interface StepSchema {
  readonly name: string;
  readonly description: string;
  readonly stage: string;
  readonly parameters: Readonly<Record<string, ParameterSchema>>;
  readonly required: readonly string[];
  /** After it the model is not where the images are. */
  readonly movesModel: boolean;
}

interface Form {
  readonly description?: string;
  readonly properties?: Record<string, { readonly properties?: Record<string, ParameterSchema>; readonly required?: readonly string[] }>;
  readonly "x-movesModel"?: boolean;
  readonly "x-stage"?: string;
}

interface List {
  readonly items: { readonly oneOf: readonly Form[] };
}

export interface Catalogue {
  readonly steps: readonly StepSchema[];
  /** Names of those that a structure may have. */
  readonly ofStructures: ReadonlySet<string>;
}

let asked: Promise<Catalogue> | null = null;

export function catalogue(): Promise<Catalogue> {
  asked ??= api
    .get<{ properties: { steps: List; structures: { items: { properties: { steps: List } } } } }>("viewing/plans/schema")
    .then(({ properties }) => ({ steps: stepsOf(properties.steps), ofStructures: new Set(stepsOf(properties.structures.items.properties.steps).map((s) => s.name)) }))
    .catch((e: unknown) => {
      // What did not come is asked for again the next time.
      asked = null;
      throw e;
    });
  return asked;
}

function stepsOf(list: List): StepSchema[] {
  return list.items.oneOf.flatMap((form) => Object.entries(form.properties ?? {}).map(([name, body]) => ({
    name,
    description: form.description ?? "",
    stage: form["x-stage"] ?? "",
    parameters: body.properties ?? {},
    required: body.required ?? [],
    movesModel: form["x-movesModel"] ?? false,
  })));
}
