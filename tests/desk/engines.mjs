// The desk's engine outside its page, and inside it: both answer ask(what, rest) with what the library gives.
import {readFileSync} from "node:fs";
import vm from "node:vm";

/** The worker's script, run by node as a browser's worker would run it. */
export const engineInNode = async (page) => {
  const html = readFileSync(page, "utf8");
  const begin = html.indexOf(">", html.indexOf('<script type="text/plain" id="engine"')) + 1;
  const script = html.slice(begin, html.indexOf("</script>", begin));
  let hear = null;
  const waiting = new Map();
  let next = 1;
  const self = {addEventListener: (_, listener) => { hear = listener; }, location: {href: "blob:null/desk"},
    postMessage: ({number, answer, failure}) => { if (!number && failure) throw new Error(failure); waiting.get(number)?.(failure ? {error: {message: failure}} : answer); }};
  const context = vm.createContext({self, importScripts: () => {}, WebAssembly, console, setTimeout, clearTimeout, performance, TextDecoder, TextEncoder, atob,
    crypto: globalThis.crypto, location: self.location, queueMicrotask, URL});
  vm.runInContext(script, context);
  return {ask: (what, rest) => new Promise((resolve) => { const number = next++; waiting.set(number, resolve); hear({data: {number, request: {do: what, ...rest}}}); }), close: async () => {}};
};

/** The page from disk in Chromium, the network off. Whatever it complains of or asks for from elsewhere is in `troubles`. */
export const openDesk = async (page, options = {}) => {
  const {chromium} = await import("playwright-core");
  const browser = options.browser ?? await chromium.launch({executablePath: process.env.CHROMIUM || "/usr/bin/chromium", args: ["--no-sandbox"]});
  const context = options.context ?? await browser.newContext({viewport: {width: 1280, height: 900}, acceptDownloads: true, ...options.window});
  await context.setOffline(true);
  const tab = await context.newPage();
  tab.troubles = [];
  tab.on("console", (message) => message.type() === "error" && tab.troubles.push(message.text()));
  tab.on("pageerror", (error) => tab.troubles.push(error.message));
  tab.on("request", (request) => /^(file|data|blob|about):/.test(request.url()) || tab.troubles.push(request.url()));
  await tab.addInitScript(() => { window.showDirectoryPicker = undefined; });  // a dialog of the system, which no script can answer
  await tab.goto(`file://${page}`);
  return {browser, context, tab};
};

export const engineInBrowser = async (page) => {
  const {browser, tab} = await openDesk(page);
  return {ask: (what, rest) => tab.evaluate(([one, more]) => engine.ask(one, more).catch((error) => ({error: error.found ?? {message: error.message}})), [what, rest]), close: () => browser.close()};
};
