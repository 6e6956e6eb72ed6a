/** Jobs and sources as the API gives them. */

import { api } from "./api";

export interface Job {
  readonly id: string;
  readonly state: "waiting" | "queued" | "running" | "done" | "failed" | "cancelled";
  readonly purpose: string;
  readonly anatomy: string;
  readonly side: string | null;
  readonly plan: string;
  readonly neededBy: string | null;
  readonly sourceId: string | null;
  readonly createdAt: string;
  readonly createdBy: string;
  readonly holds: boolean | null;
  readonly reason: string | null;
}

export interface Source {
  readonly id: string;
  readonly filedAt: string;
  readonly files: number;
  readonly replacedBy: string | null;
}

export interface Finding {
  readonly code: string;
  readonly severity: "note" | "caution" | "stop";
  readonly message: string;
  readonly remedy: string;
}

export interface StepFacts {
  readonly name: string;
  readonly structure?: string;
  readonly parameters: Record<string, unknown>;
  readonly effect: { readonly changedAreaMm2?: number; readonly maxDisplacementMm?: number };
}

export interface RunFacts {
  readonly plan: { readonly name: string; readonly version: string };
  readonly steps: readonly StepFacts[];
  readonly findings: readonly Finding[];
  readonly measurements: {
    readonly mesh: { readonly triangles: number; readonly components: number; readonly solid: boolean; readonly volumeMm3: number; readonly areaMm2: number; readonly boundsMm: { readonly min: number[]; readonly max: number[] } };
    readonly origins: readonly { readonly origin: string; readonly share: number }[];
  };
}

/** What is shown of a job's state: how it ended counts too. */
export function stateOf(job: Job): string {
  return job.state !== "done" ? job.state : job.holds === false ? "broken" : "held";
}

export function listJobs(): Promise<Job[]> {
  return api.get<{ items: Job[] }>("jobs/").then((a) => a.items);
}

export function fileOf(job: string, name: string): string {
  return `/api/v1/jobs/${job}/files/${name}`;
}
