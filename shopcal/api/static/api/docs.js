// Starts Swagger UI. Its own file, because the content security policy allows nothing inline.

const place = /** @type {HTMLElement} */ (document.getElementById("docs"));

/** @param {{loadSpec?: boolean, method?: string, headers: Record<string, string>}} request */
function addCsrfToken(request) {
  // A signed-in person may try requests out by their session; programs send a token instead.
  if (!request.loadSpec && request.method !== "GET") {
    request.headers["X-CSRFToken"] = place.dataset.csrf ?? "";
  }
  return request;
}

window.SwaggerUIBundle({
  url: place.dataset.schema,
  domNode: place,
  deepLinking: true,
  requestInterceptor: addCsrfToken,
});
