# Usage: Rscript random_effects.R SETS.csv ANSWERS.json   (SETS: set, value, se). Without arguments: the published trials of metafor's dat.bcg, as recorded in random_effects.json.
library(metafor); library(jsonlite)
of <- function(yi, se) {
  one <- function(method, test) {
    fit <- rma(yi = yi, sei = se, method = method, test = test, control = list(maxiter = 10000, threshold = 1e-12, tol = 1e-12))
    foretold <- predict(fit)
    list(value = c(fit$b), se = fit$se, low = fit$ci.lb, high = fit$ci.ub, tau2 = fit$tau2, q = fit$QE, q_p = fit$QEp, i2 = fit$I2, predict_low = foretold$pi.lb, predict_high = foretold$pi.ub)
  }
  list(DL = one("DL", "z"), DL_HK = one("DL", "knha"), PM_HK = one("PM", "knha"), REML_HK = one("REML", "knha"), FE = one("EE", "z"))
}
given <- commandArgs(trailingOnly = TRUE)
if (length(given) == 2) {
  sets <- read.csv(given[1])
  answers <- lapply(split(sets, sets$set), function(s) of(s$value, s$se))
  write(toJSON(answers, digits = 16, auto_unbox = TRUE), given[2])
} else {
  bcg <- escalc(measure = "RR", ai = tpos, bi = tneg, ci = cpos, di = cneg, data = dat.bcg)
  write(toJSON(list(made_by = "Rscript random_effects.R, in this folder", r = R.version.string, metafor = as.character(packageVersion("metafor")), data = "dat.bcg: 13 trials of a vaccine, log risk ratios (Colditz et al. 1994, JAMA 271:698)",
    value = c(bcg$yi), se = sqrt(bcg$vi), answers = of(c(bcg$yi), sqrt(bcg$vi))), digits = 16, auto_unbox = TRUE, pretty = TRUE), "random_effects.json")
}
