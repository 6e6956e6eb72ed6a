/** The steps there are, as the schema of plans tells; asked for once. */

import { api } from "../api";

export interface ParameterSchema {
  readonly type?: string;
  readonly enum?: readonly string[];
  readonly minimum?: number;
  readonly maximum?: number;
  readonly description?: string;
  readonly default?: unknown;
  readonly items?: unknown;
}

export interface StepSchema {
  readonly name: string;
  readonly description: string;
  readonly parameters: Record<string, ParameterSchema>;
  /** After it the model is not where the images are. */
  readonly movesModel: boolean;
}

interface Form {
  readonly description?: string;
  readonly properties?: Record<string, { readonly properties?: Record<string, ParameterSchema> }>;
  readonly "x-movesModel"?: boolean;
}

let asked: Promise<StepSchema[]> | null = null;

export function stepSchemas(): Promise<StepSchema[]> {
  asked ??= api
    .get<{ properties: { steps: { items: { oneOf: Form[] } } } }>("viewing/plans/schema")
    .then((s) => s.properties.steps.items.oneOf.flatMap((form) => Object.entries(form.properties ?? {}).map(([name, body]) => ({ name, description: form.description ?? "", parameters: body.properties ?? {}, movesModel: form["x-movesModel"] ?? false }))))
    .catch((e: unknown) => {
      // What did not come is asked for again the next time.
      asked = null;
      throw e;
    });
  return asked;
}
