// Runs before the first paint of a page that the browser may have kept for days: by night no bright page may flash up.
if (/(?:^|; )theme=night/.test(document.cookie)) document.documentElement.dataset["theme"] = "night";
