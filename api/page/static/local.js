// Times in the visitor's own words and zone; without this they are in UTC.

const shapes = {
  time: { day: "numeric", month: "short", hour: "2-digit", minute: "2-digit" },
  day: { day: "numeric", month: "short" },
};
for (const time of document.querySelectorAll("time[data-local]")) {
  const language = document.documentElement.lang;
  time.textContent = new Intl.DateTimeFormat(language, shapes[time.dataset.local]).format(new Date(time.dateTime));
  time.title = time.dateTime;
}
