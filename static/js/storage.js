// Where this tablet keeps what it has told: IndexedDB behind two calls, so that the sums about it can be tried without.
//
// A storage has `read(stores, work)` and `write(stores, work)`. `work` is handed a transaction with get, all, next,
// since, count, keys, put and remove, each a promise; it may await nothing else. A `write` whose promise is kept is on
// the disk; one that is refused has changed nothing. `note` is a write that may be lost with the power: what the book
// tells again.

const VERSION = 1;
export const ENTRIES = "entries"; // by id, by state and number, by when they were tapped
export const TABLET = "tablet"; // by name: sequence, lit, reach, head
export const PHOTOS = "photos"; // by an id of their own

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
      const entries = asked.result.createObjectStore(ENTRIES, { keyPath: "id" });
      entries.createIndex("order", ["state", "sequence"]);
      entries.createIndex("tapped_at", "tapped_at");
      asked.result.createObjectStore(TABLET, { keyPath: "name" });
      asked.result.createObjectStore(PHOTOS, { keyPath: "id" });
    };
    asked.onsuccess = () => resolve(asked.result);
    asked.onerror = () => reject(asked.error);
  });
}

/** Those in a state by their numbers, beyond `after`. */
function inOrder(state, after = -Infinity) {
  return IDBKeyRange.bound([state, after], [state, Infinity], true);
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
          return answered(state === undefined ? from.getAll() : from.index("order").getAll(inOrder(state)));
        },
        since: (store, at) => {
          const range = IDBKeyRange.lowerBound(at);
          return answered(transaction.objectStore(store).index("tapped_at").getAll(range));
        },
        next: (store, state, after, most) =>
          answered(transaction.objectStore(store).index("order").getAll(inOrder(state, after), most)),
        count: (store, state) => answered(transaction.objectStore(store).index("order").count(inOrder(state))),
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
