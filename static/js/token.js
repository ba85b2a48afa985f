// The book's token, read from the cookie at the moment of sending: the one in a page kept earlier may be stale.

export function cookie(name) {
  const found = document.cookie.split("; ").find((one) => one.startsWith(`${name}=`));
  return found ? decodeURIComponent(found.slice(name.length + 1)) : "";
}

export function tokenNow() {
  const name = document.querySelector("meta[name='hb-csrf-cookie']")?.content;
  return name ? cookie(name) : "";
}
