/** Start, and which place an address is. */

import { api, ApiError, Session } from "./api";
import { fill, h } from "./dom";
import { jobsPage } from "./bench/jobs";
import { workspacePage } from "./bench/workspace";
import { askPage } from "./board/ask";
import { boardPage } from "./board/board";
import { lookPage } from "./board/look";
import { peoplePage } from "./people";
import { modelsPage } from "./proof/models";
import { threadPage } from "./proof/thread";
import { invitationPage, renewSession, signInPage } from "./session";
import { HOME, Shell, startTheme } from "./shell";
import { text } from "./text";

export interface Visit {
  readonly content: HTMLElement;
  /** Ends when the place is left. */
  readonly signal: AbortSignal;
  readonly go: (path: string) => void;
  readonly title: (title: string) => void;
}

type Page = (visit: Visit, ...parts: string[]) => void;

const ROUTES: readonly (readonly [RegExp, Page])[] = [
  [/^\/bench\/?$/, jobsPage],
  [/^\/bench\/([0-9a-f]+)$/, workspacePage],
  [/^\/board\/?$/, boardPage],
  [/^\/board\/ask\/?$/, askPage],
  [/^\/board\/ask\/([0-9a-f]+)$/, askPage],
  [/^\/board\/([0-9a-f]{32})$/, lookPage],
  [/^\/proof\/?$/, modelsPage],
  [/^\/proof\/([A-Za-z0-9.-]+)\/([0-9]+)$/, threadPage],
  [/^\/people\/?$/, peoplePage],
];

async function start(): Promise<void> {
  startTheme();
  if (location.pathname === "/invitation") {
    invitationPage(document.body, new URLSearchParams(location.search).get("token") ?? "");
    return;
  }
  try {
    api.session = await api.get<Session>("session");
  } catch (e) {
    if (!(e instanceof ApiError)) throw e;
    api.session = await signInPage(document.body);
  }
  api.renew = renewSession;
  run();
}

function run(): void {
  let leave = new AbortController();
  const shell = new Shell(document.body, (path) => go(path));
  const show = () => {
    leave.abort();
    leave = new AbortController();
    const path = location.pathname;
    fill(shell.content);
    shell.content.className = "";
    for (const [pattern, page] of ROUTES) {
      const match = pattern.exec(path);
      if (!match) continue;
      page({ content: shell.content, signal: leave.signal, go, title: (title) => shell.arrive(path, title) }, ...match.slice(1));
      return;
    }
    shell.arrive(path, text.product);
    fill(shell.content, h("div", { class: "page" }, h("h1", null, text.shell.nothing), h("a", { href: HOME[api.session!.role] }, text.shell.toStart)));
  };
  const go = (path: string) => {
    history.pushState(null, "", path);
    show();
    shell.content.focus({ preventScroll: true });
  };
  window.addEventListener("popstate", show);
  if (location.pathname === "/") history.replaceState(null, "", HOME[api.session!.role]);
  show();
}

void start();
