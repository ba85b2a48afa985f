// Where this tablet keeps what it has told: IndexedDB behind two calls, so that the sums about it can be tried without.
//
// A storage has `read(stores, work)` and `write(stores, work)`. `work` is handed a transaction with get, all, put and
// remove, each a promise; it may await nothing else. A `write` whose promise is kept is on the disk; one that is refused
// has changed nothing.

const VERSION = 1;
export const ENTRIES = "entries"; // by id, and by state
export const TABLET = "tablet"; // by name: sequence, lit, reach, head
export const PHOTOS = "photos"; // by the hash of the bytes that are sent, and by state

function answered(request) {
  return new Promise((resolve, reject) => {
    request.onsuccess = () => resolve(request.result);
    request.onerror = () => reject(request.error);
  });
}

function opened(name) {
  return new Promise((resolve, reject) => {
    const asked = indexedDB.open(name, VERSION);
    asked.onupgradeneeded = () => {
      asked.result.createObjectStore(ENTRIES, { keyPath: "id" }).createIndex("state", "state");
      asked.result.createObjectStore(TABLET, { keyPath: "name" });
      asked.result.createObjectStore(PHOTOS, { keyPath: "id" }).createIndex("state", "state");
    };
    asked.onsuccess = () => resolve(asked.result);
    asked.onerror = () => reject(asked.error);
  });
}

export async function indexedStorage(name) {
  let database = await opened(name);

  async function run(stores, mode, work, durability = "strict") {
    let transaction;
    try {
      transaction = database.transaction(stores, mode, { durability });
    } catch (error) {
      // The engine closed it, as it does after clearing a site's data: open it again, empty as it may be.
      if (error.name !== "InvalidStateError") throw error;
      database = await opened(name);
      transaction = database.transaction(stores, mode, { durability });
    }
    const done = new Promise((resolve, reject) => {
      transaction.oncomplete = () => resolve();
      transaction.onabort = () => reject(transaction.error ?? new Error("not kept"));
    });
    done.catch(() => {}); // heard below, or by the error that work itself threw
    let result;
    try {
      result = await work({
        get: (store, key) => answered(transaction.objectStore(store).get(key)),
        all: (store, state) => {
          const from = transaction.objectStore(store);
          return answered(state === undefined ? from.getAll() : from.index("state").getAll(state));
        },
        count: (store, state) => answered(transaction.objectStore(store).index("state").count(state)),
        keys: (store) => answered(transaction.objectStore(store).getAllKeys()),
        put: (store, value) => answered(transaction.objectStore(store).put(value)),
        remove: (store, key) => answered(transaction.objectStore(store).delete(key)),
      });
    } catch (error) {
      try {
        transaction.abort();
      } catch {
        // It was over already.
      }
      throw error;
    }
    await done;
    return result;
  }

  return {
    read: (stores, work) => run(stores, "readonly", work),
    write: (stores, work) => run(stores, "readwrite", work),
    note: (stores, work) => run(stores, "readwrite", work, "relaxed"),
  };
}
