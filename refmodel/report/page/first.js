"use strict";
document.documentElement.className = "js";
