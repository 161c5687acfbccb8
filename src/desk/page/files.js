/** Saves files: into a folder the person chooses, where the browser can, else one after another. */
const download = (name, text) => {
  const address = URL.createObjectURL(new Blob([text], {type: name.endsWith(".html") ? "text/html" : "text/plain"}));
  make("a", {href: address, download: name}).click();
  setTimeout(() => URL.revokeObjectURL(address), 10000);
};
const saveFiles = async (files) => {
  const names = Object.keys(files);
  if (window.showDirectoryPicker) {
    let folder;
    try { folder = await window.showDirectoryPicker({mode: "readwrite"}); } catch (error) { if (error.name === "AbortError") return null; }
    if (folder) {
      const there = [];
      for (const name of names) if (await folder.getFileHandle(name).then(() => true, () => false)) there.push(name);
      if (there.length > 0 && (await ask(`${there.join(", ")}: already in this folder. Write over?`, ["Write over", "Cancel"])) !== 0) return null;
      for (const name of names) {
        const handle = await folder.getFileHandle(name, {create: true});
        const out = await handle.createWritable();
        await out.write(files[name]);
        await out.close();
      }
      return `Saved in the folder "${folder.name}": ${names.join(", ")}.`;
    }
  }
  for (const name of names) { download(name, files[name]); await new Promise((done) => setTimeout(done, 250)); }
  return `Saved where this browser puts downloads: ${names.join(", ")}. Keep them in one folder.`;
};
const chooseFiles = () => new Promise((resolve) => {
  const input = make("input", {type: "file", multiple: true, accept: ".yaml,.yml,.csv,.json,.txt,.tsv"});
  input.addEventListener("change", () => resolve([...input.files]));
  input.addEventListener("cancel", () => resolve([]));
  input.click();
});
const textsOf = async (list) => {
  const texts = {};
  for (const file of list) {
    const bytes = new Uint8Array(await file.arrayBuffer());
    try { texts[file.name] = new TextDecoder("utf-8", {fatal: true}).decode(bytes); }
    catch { texts[file.name] = new TextDecoder("windows-1252").decode(bytes); }
  }
  return texts;
};
