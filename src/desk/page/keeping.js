/** Keeps jobs in this browser, each whole, at once; tells where that cannot be done. Two windows never write over each other: a job is
 * only written over the state this window read or wrote itself. */
const keeping = (() => {
  let base = null;
  const open = () => new Promise((resolve, reject) => {
    if (typeof indexedDB === "undefined") { reject(new Error("this browser keeps nothing")); return; }
    const request = indexedDB.open("trimwright desk", 1);
    request.onupgradeneeded = () => request.result.createObjectStore("jobs", {keyPath: "id"});
    request.onsuccess = () => resolve(request.result);
    request.onerror = () => reject(request.error);
    request.onblocked = () => reject(new Error("another window holds what is kept"));
  });
  const within = async (mode, work) => {
    base ??= open();
    const store = await base.catch((error) => { base = null; throw error; });
    return new Promise((resolve, reject) => {
      const transaction = store.transaction("jobs", mode);
      let result;
      transaction.oncomplete = () => resolve(result);
      transaction.onerror = transaction.onabort = () => reject(transaction.error ?? new Error("it was not written"));
      work(transaction.objectStore("jobs"), (value) => { result = value; }, transaction);
    });
  };
  return {
    /** Writes `job` if what is kept is still its `revision`; gives the new revision, or null where another window was first. */
    write: (job) => within("readwrite", (jobs, give) => {
      const get = jobs.get(job.id);
      get.onsuccess = () => {
        if ((get.result?.revision ?? 0) !== job.revision) { give(null); return; }
        jobs.put({...copy(job), revision: job.revision + 1, changed: Date.now()});
        give(job.revision + 1);
      };
    }),
    read: (id) => within("readonly", (jobs, give) => { const get = jobs.get(id); get.onsuccess = () => give(get.result ?? null); }),
    list: () => within("readonly", (jobs, give) => { const all = jobs.getAll(); all.onsuccess = () => give(all.result.sort((a, b) => b.changed - a.changed)); }),
    remove: (id) => within("readwrite", (jobs) => { jobs.delete(id); }),
  };
})();
