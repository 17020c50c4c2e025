// The API's documentation, drawn from its own description; nothing is asked of any other server.
/* global SwaggerUIBundle */
const token = JSON.parse(document.getElementById("data").textContent).csrf;
SwaggerUIBundle({
  url: "/api/v1/openapi.json", dom_id: "#api", validatorUrl: null, deepLinking: false, supportedSubmitMethods: ["get"],
  requestInterceptor: (request) => { request.headers["x-dewhold-token"] = token; return request; },
});
