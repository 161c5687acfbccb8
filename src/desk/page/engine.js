/** The library in its worker. `ask` gives an answer, or throws an Error whose `found` is the library's own. */
const engine = (() => {
  const source = byId("engine").textContent;
  const address = URL.createObjectURL(new Blob([source], {type: "text/javascript"}));
  let worker = null;
  let next = 1;
  let waiting = new Map();
  const start = () => {
    worker = new Worker(address);
    worker.addEventListener("message", (event) => {
      const {number, answer, failure} = event.data;
      if (failure && !number) { engine.broken = failure; for (const one of waiting.values()) one.reject(new Error(failure)); waiting.clear(); }
      const one = waiting.get(number);
      if (!one) return;
      waiting.delete(number);
      if (failure) { one.reject(new Error(failure)); stop(); return; }
      if (answer.error) one.reject(Object.assign(new Error(answer.error.message), {found: answer.error}));
      else one.resolve(answer);
    });
    worker.addEventListener("error", (event) => { event.preventDefault(); stop(event.message); });
  };
  /** Ends what is being worked on; the next question starts a new worker. */
  const stop = (why = "stopped") => {
    if (worker) worker.terminate();
    worker = null;
    const ended = waiting;
    waiting = new Map();
    for (const one of ended.values()) one.reject(Object.assign(new Error(why), {stopped: true}));
  };
  const askIt = (what, rest = {}) => new Promise((resolve, reject) => {
    if (!worker) start();
    const number = next++;
    waiting.set(number, {resolve, reject});
    worker.postMessage({number, request: {do: what, ...rest}});
  });
  start();
  return {ask: askIt, stop, broken: null};
})();
