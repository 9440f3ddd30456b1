/* Offers, while somebody types, who or what is perhaps in the book already. Without it the form asks after it was sent.

   On the form      data-alike="people", "sites" or both    what is looked up ("sites" looks for households too)
                    data-alike-but="12"                     key of the person, or code of the site, being corrected
                    data-alike-but-household="7"            key of the household being corrected
                    data-alike-take="?person="              links of entries that can be taken lead there, their key (person) or
                                                            code (site) added, instead of opening the entry beside the form
   On its fields    data-alike-as="given"                   given, family, contact (one a line), postal (an empty line between
                                                            two), address, lat or lon
   On this script   data-people, data-sites                 where it asks (includes/alike.html writes them)                    */
{
  const where = { people: document.currentScript.dataset.people, sites: document.currentScript.dataset.sites };
  const parts = { people: ["given", "family", "contact", "postal"], sites: ["address", "lat", "lon"] };

  const watch = (form, kind) => {
    const fields = parts[kind].flatMap((part) => [...form.querySelectorAll(`[data-alike-as="${part}"]`)]);
    if (!fields.length) return;
    const offer = document.createElement("div");
    offer.className = "alike";
    offer.setAttribute("role", "status");
    let waiting, asked = "";
    const question = () => {
      const words = new URLSearchParams();
      for (const field of fields) {
        const as = field.dataset.alikeAs;
        const pieces = as === "postal" ? field.value.split(/\n\s*\n/) : as === "contact" ? field.value.split("\n") : [field.value];
        for (const piece of pieces) if (piece.trim()) words.append(as === "postal" ? "contact" : as, piece.trim());
      }
      if (![...words].length) return "";
      if (form.dataset.alikeBut) words.append("but", form.dataset.alikeBut);
      if (kind === "sites" && form.dataset.alikeButHousehold) words.append("but_household", form.dataset.alikeButHousehold);
      return words.toString();
    };
    const ask = async (field) => {
      const words = question();
      if (words === asked) return;
      asked = words;
      const typed = field.closest(".fields-side") ?? field.closest(".field") ?? field;
      if (typed.nextElementSibling !== offer) typed.after(offer); // stands where somebody types
      try {
        const answer = words ? await fetch(`${where[kind]}?${words}`) : null;
        const found = answer?.ok && !answer.redirected ? (await answer.text()).trim() : "";
        if (words !== asked) return; // somebody typed on
        offer.innerHTML = found;
        const take = form.dataset.alikeTake;
        if (take) for (const link of offer.querySelectorAll("[data-alike-key]")) {
          link.href = take + encodeURIComponent(link.dataset.alikeKey);
          link.removeAttribute("target");
          link.querySelector(".visually-hidden")?.remove();
        }
      } catch { asked = ""; /* the next key may get through */ }
    };
    for (const field of fields) field.addEventListener("input", () => {
      clearTimeout(waiting);
      waiting = setTimeout(ask, 300, field);
    });
  };

  for (const form of document.querySelectorAll("form[data-alike]"))
    for (const kind of form.dataset.alike.split(" ")) if (parts[kind]) watch(form, kind);
}
