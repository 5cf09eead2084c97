# One run for all comparisons: reads the CSV named first, writes JSON to the file named second. R 4, survival 3.
suppressMessages({library(survival); library(jsonlite)})
arguments <- commandArgs(TRUE)
all <- read.csv(arguments[1], colClasses = c(set = "character", cause = "character"))

curve <- function(formula, d, type = "log-log", ...) {
  fit <- do.call(survfit, list(formula = formula, data = d, conf.type = type, ...))
  s <- summary(fit, censored = TRUE)
  q <- quantile(fit, c(.1, .25, .5, .75))
  list(time = s$time, survival = s$surv, se = s$std.err, low = s$lower, high = s$upper,
       q_low = unname(q$lower), q_high = unname(q$upper))
}
ij <- function(fit, cluster) {   # standard errors by day and state from R's influence values, summed by cluster
  x <- fit$influence.pstate
  sapply(seq_len(dim(x)[3]), function(k) sqrt(colSums(rowsum(x[, , k], cluster)^2)))
}

out <- lapply(split(all, factor(all$set, unique(all$set))), function(d) {
  d$event <- factor(ifelse(d$cause == "", "censored", d$cause), c("censored", sort(setdiff(unique(d$cause), ""))))
  d <<- d  # R looks for the data of a fit by name, from the top
  r <- list()
  r$plain_rows <- curve(Surv(day, failed) ~ 1, d)
  r$log <- curve(Surv(day, failed) ~ 1, d, "log")
  r$plain <- curve(Surv(day, failed) ~ 1, d, "plain")
  r$counts <- curve(Surv(day, failed) ~ 1, d, weights = d$copies)
  r$clustered <- curve(Surv(day, failed) ~ 1, d, cluster = d$patient)
  r$sampled <- curve(Surv(day, failed) ~ 1, d, cluster = d$patient, weights = d$weight)
  r$late <- curve(Surv(entry, day, failed) ~ 1, d)
  r$late_clustered <- curve(Surv(entry, day, failed) ~ 1, d, cluster = d$patient)
  horizon <- median(d$day)
  fit <- survfit(Surv(day, failed) ~ 1, d)
  r$mean <- as.list(unname(summary(fit, rmean = horizon)$table[c("rmean", "se(rmean)")]))
  # R's residuals of a curve with fewer than two event days stop with an error
  if (sum(d$failed) > 1) r$mean_clustered <- sqrt(sum(rowsum(resid(fit, times = horizon, type = "rmst"), d$patient)^2))
  if (length(unique(d$arm)) > 1 && any(d$failed == 1)) {
    r$logrank <- survdiff(Surv(day, failed) ~ arm, d)$chisq
    r$peto <- survdiff(Surv(day, failed) ~ arm, d, rho = 1)$chisq
    r$stratified <- survdiff(Surv(day, failed) ~ arm + strata(clinic), d)$chisq
    cox <- suppressWarnings(coxph(Surv(entry, day, failed) ~ factor(arm), d, cluster = patient, ties = "breslow", init = rep(0, length(unique(d$arm)) - 1), iter.max = 0))
    r$clustered_test <- unname(summary(cox)$robscore["test"])
    cox <- suppressWarnings(coxph(Surv(day, failed) ~ factor(arm) + strata(clinic), d, cluster = d$patient, ties = "breslow", init = rep(0, length(unique(d$arm)) - 1), iter.max = 0))
    r$clustered_strata <- unname(summary(cox)$robscore["test"])
  }
  if (nlevels(d$event) > 2) {
    d$id <- seq_len(nrow(d))
    f <- survfit(Surv(day, event) ~ 1, d, id = id, influence = TRUE)
    r$incidence <- list(time = f$time, causes = f$states[-1], value = f$pstate[, -1], se = f$std.err[, -1], clustered = ij(f, d$patient)[, -1])
    g <- survfit(Surv(entry, day, event) ~ 1, d, id = id)
    r$incidence_late <- list(time = g$time, value = g$pstate[, -1])
  }
  r
})
write_json(out, arguments[2], digits = NA, na = "string", auto_unbox = TRUE)
