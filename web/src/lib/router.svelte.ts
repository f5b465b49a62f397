/** Where the page is, kept in the browser's history. */
import { parseRoute, routePath, type Route } from "./route";

class Router {
  route = $state.raw<Route>(parseRoute(window.location.pathname));

  /** Follows links inside the page and the back button; answers what ends that. */
  start(): () => void {
    const back = (): void => {
      this.route = parseRoute(window.location.pathname);
    };
    const click = (event: MouseEvent): void => {
      const path = this.inside(event);
      if (path === null) return;
      event.preventDefault();
      this.go(parseRoute(path));
    };
    window.addEventListener("popstate", back);
    document.addEventListener("click", click);
    return () => {
      window.removeEventListener("popstate", back);
      document.removeEventListener("click", click);
    };
  }

  go(route: Route): void {
    window.history.pushState(null, "", routePath(route));
    this.route = route;
    window.scrollTo(0, 0);
    // Who reads by ear or works by key goes on at the new screen's start, not at the link that is gone.
    document.getElementById("main")?.focus({ preventScroll: true });
  }

  /** The path of a plain click on a link to a screen of this page, or null: the browser's own links stay its own. */
  private inside(event: MouseEvent): string | null {
    if (event.defaultPrevented || event.button !== 0 || event.metaKey || event.ctrlKey || event.shiftKey || event.altKey) {
      return null;
    }
    const link = event.target instanceof Element ? event.target.closest("a") : null;
    // Links in a drawing (SVG) carry an object instead of a text.
    const href = link?.getAttribute("href");
    if (link === null || href?.startsWith("/") !== true || href.startsWith("/api/") || link.hasAttribute("target")) {
      return null;
    }
    return href;
  }
}

export const router = new Router();
