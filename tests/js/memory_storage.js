// A storage in memory that keeps what a transaction of IndexedDB means: values are copied, all of a change or nothing
// of it is kept, changes follow one another, and a transaction that awaits anything but its own requests is over.

export function memoryStorage({ room = Infinity } = {}) {
  const stores = { entries: new Map(), tablet: new Map(), photos: new Map() };
  const keyOf = { entries: "id", tablet: "name", photos: "id" };
  let last = Promise.resolve();

  function size(all) {
    return Object.values(all).reduce(
      (sum, store) => sum + [...store.values()].reduce((one, value) => one + JSON.stringify(value).length, 0),
      0,
    );
  }

  async function run(names, isWriting, work) {
    const copy = Object.fromEntries(names.map((name) => [name, new Map(stores[name])]));
    let isOver = false;
    let asked = 0;
    let timer = null;
    function request(answer) {
      if (isOver) throw Object.assign(new Error("the transaction is over"), { name: "TransactionInactiveError" });
      clearTimeout(timer);
      asked += 1;
      return new Promise((resolve, reject) => {
        setImmediate(() => {
          try {
            resolve(structuredClone(answer()));
          } catch (error) {
            reject(error);
          }
          asked -= 1;
          // A turn without a request ends it, as it does in a browser.
          if (!asked) timer = setTimeout(() => { isOver = !asked; }, 0);
        });
      });
    }
    function writing() {
      if (!isWriting) throw Object.assign(new Error("read only"), { name: "ReadOnlyError" });
    }
    const result = await work({
      get: (name, key) => request(() => copy[name].get(key)),
      all: (name, state) =>
        request(() => [...copy[name].values()].filter((value) => state === undefined || value.state === state)),
      next: (name, state, after, most) =>
        request(() =>
          [...copy[name].values()]
            .filter((value) => value.state === state && value.sequence > after)
            .toSorted((one, other) => one.sequence - other.sequence)
            .slice(0, most),
        ),
      since: (name, at) => request(() => [...copy[name].values()].filter((value) => value.tapped_at >= at)),
      count: (name, state) => request(() => [...copy[name].values()].filter((value) => value.state === state).length),
      keys: (name) => request(() => [...copy[name].keys()]),
      put: (name, value) => {
        writing();
        const kept = structuredClone(value);
        return request(() => {
          copy[name].set(kept[keyOf[name]], kept);
          if (size({ ...stores, ...copy }) > room) {
            throw Object.assign(new Error("no room"), { name: "QuotaExceededError" });
          }
        });
      },
      remove: (name, key) => {
        writing();
        return request(() => copy[name].delete(key));
      },
    });
    clearTimeout(timer);
    if (isWriting) Object.assign(stores, copy);
    return result;
  }

  function queued(isWriting) {
    return (names, work) => {
      const next = last.then(() => run(names, isWriting, work));
      last = next.catch(() => {});
      return next;
    };
  }

  return { read: queued(false), write: queued(true), note: queued(true), stores };
}
