/** Jobs, sources, requests and remarks as the API gives them. */

import { api } from "./api";
import type { V3 } from "./viewing/space";

/** What was asked for, and what became of it. */
interface Asked {
  readonly id: string;
  readonly purpose: string;
  readonly anatomy: string;
  readonly side: string | null;
  readonly scale: number;
  readonly plan: string;
  readonly profile: string | null;
  readonly neededBy: string | null;
  readonly sourceId: string | null;
  readonly createdAt: string;
  readonly createdBy: string;
  readonly reason: string | null;
  readonly remedy: string | null;
}

export interface Job extends Asked {
  readonly state: "waiting" | "queued" | "running" | "done" | "failed" | "cancelled";
  readonly requestId: string | null;
  readonly progress: { readonly stage: string; readonly share: number } | null;
  readonly holds: boolean | null;
}

export interface Source {
  readonly id: string;
  readonly filedAt: string;
  readonly files: number;
  readonly replacedBy: string | null;
  readonly patientKey: string | null;
  readonly bodyPart: string | null;
  readonly laterality: string | null;
}

export interface Finding {
  readonly code: string;
  readonly severity: "note" | "caution" | "stop";
  readonly message: string;
  readonly remedy: string;
  readonly place?: { readonly positionMm?: V3 | null } | null;
}

export interface Request extends Asked {
  readonly state: "waiting" | "choose" | "stopped" | "queued" | "running" | "done" | "failed" | "cancelled";
  readonly requesterCode: string | null;
  readonly note: string | null;
  readonly patientKey: string | null;
  readonly jobId: string | null;
  readonly findings: readonly Finding[];
  readonly candidates: readonly string[];
}

export type Verdict = "note" | "fits" | "back";

export interface RemarkMark {
  readonly atMm: V3;
  readonly words: string;
  /** Nobody knows where that is in the images. */
  readonly onModel: boolean;
}

export interface Remark {
  readonly number: number;
  readonly verdict: Verdict;
  readonly words: string | null;
  readonly marks: readonly RemarkMark[];
  readonly at: string;
  readonly by: string;
}

export interface StepFacts {
  readonly name: string;
  readonly structure?: string | null;
  readonly parameters: Record<string, unknown>;
  readonly effect: { readonly changedAreaMm2?: number; readonly maxDisplacementMm?: number };
}

export interface RunFacts {
  readonly plan: { readonly name: string; readonly version: string };
  readonly steps: readonly StepFacts[];
  readonly findings: readonly Finding[];
  readonly measurements: {
    readonly mesh: { readonly triangles: number; readonly components: number; readonly boundaryLoops: number; readonly solid: boolean; readonly volumeMm3: number; readonly areaMm2: number; readonly boundsMm: { readonly min: number[]; readonly max: number[] } };
    readonly origins: readonly { readonly origin: string; readonly share: number }[];
    readonly deviation?: { readonly modelFromPatient?: readonly V3[] | null } | null;
  };
}

/** What is shown of a job's state: how it ended counts too. */
export function stateOf(job: Job): string {
  return job.state !== "done" ? job.state : job.holds === false ? "broken" : "held";
}

export function listJobs(): Promise<Job[]> {
  return api.get<{ items: Job[] }>("jobs/?limit=500").then((a) => a.items);
}

/** Does something to a job or a request as it stands now; 412 where it changes meanwhile. */
export async function actOn(thing: string, what: string, body?: unknown): Promise<void> {
  const tag = (await api.answer(thing)).headers.get("ETag");
  await api.send("POST", `${thing}/${what}`, body, tag ? { "If-Match": tag } : {});
}

export function fileOf(job: string, name: string): string {
  return `/api/v1/jobs/${job}/files/${name}`;
}

export async function remarksOf(job: string): Promise<{ readonly items: readonly Remark[]; readonly tag: string | null }> {
  const answer = await api.answer(`jobs/${job}/remarks`);
  return { items: ((await answer.json()) as { items: Remark[] }).items, tag: answer.headers.get("ETag") };
}
