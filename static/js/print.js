// A key that prints the page it stands on.

for (const key of document.querySelectorAll("[data-print]")) key.addEventListener("click", () => print());
