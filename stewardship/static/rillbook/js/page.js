/* Small comforts; every page works without them. */

// After a refused form the summary takes the focus, so that it is read first.
document.querySelector(".error-summary")?.focus();

// While a worker has something in hand, its words are fetched again; when it is done, the page is.
const working = document.querySelector("[data-working]");
if (working) {
  const again = async () => {
    try {
      const answer = await fetch(location.href, { headers: { Accept: "text/html" } });
      const page = new DOMParser().parseFromString(await answer.text(), "text/html");
      const now = page.querySelector("[data-working]");
      if (!now) return location.reload();
      if (now.innerHTML !== working.innerHTML) working.innerHTML = now.innerHTML;
    } catch { /* the next try may get through */ }
    setTimeout(again, 3000);
  };
  setTimeout(again, 2000);
}
