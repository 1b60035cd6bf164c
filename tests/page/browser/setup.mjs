// The questions before the first take and behind the last one, answered the shortest way, for the scripts that are about something else.

export async function untilInputCheck(hands, page, sockets = "Two wide sockets") {
  await hands.goOn();
  await page.getByText(sockets).click();
  await hands.goOn();
  await hands.goOn();
  await page.locator("input[type=checkbox]").check();
  await hands.goOn();
  await hands.goOn();
  await hands.goOn();
}

// From behind the input check to the first question about the driver that sounds.
export async function untilTap(hands) {
  await hands.label("Room temperature").fill("21");
  await hands.label("Altitude above sea level").fill("500");
  await hands.goOn();
  await hands.goOn();
  await hands.press("I have no meter");
  await hands.label("Diameter, middle of the surround to middle of the surround").fill("78");
  await hands.goOn();
  await hands.press("Leave this out");
}

// From behind the free-air takes to the saved bundle.
export async function saveWithoutLoads(hands, path) {
  await hands.press("I cannot stick anything on");
  await hands.press("I have no such box");
  await hands.goOn();
  await hands.saveBundle(path);
}
