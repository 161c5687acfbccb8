// In the worker: the library, asked one thing after another.
const engine = trimwrightEngine();
self.addEventListener("message", async (event) => {
  const {number, request} = event.data;
  try {
    const library = await engine;
    const given = library.stringToNewUTF8(JSON.stringify(request));
    const made = library._trimwright_desk(given);
    const answer = library.UTF8ToString(made);
    library._free(given);
    library._free(made);
    self.postMessage({number, answer: JSON.parse(answer)});
  } catch (error) {
    self.postMessage({number, failure: String(error)});
  }
});
engine.then(() => self.postMessage({ready: true}), (error) => self.postMessage({failure: String(error)}));
