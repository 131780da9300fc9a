/* The phone's own database. What people wrote or may see is sealed before it gets here (sealed.js). */

const NAME = "gaugeglass-sheet";
const VERSION = 1;
const STORES = ["meta", "keys", "copies", "visits", "photos"];
let opening = null;

function openDatabase() {
  opening ??= new Promise((resolve, reject) => {
    const request = indexedDB.open(NAME, VERSION);
    request.onupgradeneeded = () => {
      for (const name of STORES) {
        if (!request.result.objectStoreNames.contains(name)) request.result.createObjectStore(name);
      }
    };
    request.onsuccess = () => resolve(request.result);
    request.onerror = () => reject(request.error);
  });
  return opening;
}

async function transact(store, mode, act) {
  const database = await openDatabase();
  return new Promise((resolve, reject) => {
    // "strict" waits for the disk: an empty battery takes nothing that was called saved.
    const transaction = database.transaction(store, mode, { durability: "strict" });
    const request = act(transaction.objectStore(store));
    transaction.oncomplete = () => resolve(request.result);
    transaction.onabort = () => reject(transaction.error ?? request.error);
    transaction.onerror = () => reject(transaction.error ?? request.error);
  });
}

export const readRow = (store, key) => transact(store, "readonly", (rows) => rows.get(key));
export const readRows = (store) => transact(store, "readonly", (rows) => rows.getAll());
export const writeRow = (store, key, value) => transact(store, "readwrite", (rows) => rows.put(value, key));
export const removeRow = (store, key) => transact(store, "readwrite", (rows) => rows.delete(key));
export const clearRows = (store) => transact(store, "readwrite", (rows) => rows.clear());

/** Whether an error says that the phone has no room left. */
export const isFull = (error) => error?.name === "QuotaExceededError";

/** Ask the browser to keep the database even when the phone runs short; true, false, or null where it cannot say. */
export async function askToPersist() {
  if (!navigator.storage?.persist) return null;
  return (await navigator.storage.persisted()) || navigator.storage.persist();
}
