package ldanotes.server;

import ca.uhn.fhir.context.FhirContext;
import ca.uhn.fhir.context.support.IValidationSupport;
import ca.uhn.fhir.jpa.api.config.JpaStorageSettings;
import ca.uhn.fhir.jpa.api.dao.IFhirSystemDao;
import ca.uhn.fhir.jpa.provider.JpaCapabilityStatementProvider;
import ca.uhn.fhir.jpa.provider.JpaSystemProvider;
import ca.uhn.fhir.jpa.search.DatabaseBackedPagingProvider;
import ca.uhn.fhir.rest.annotation.Metadata;
import ca.uhn.fhir.rest.api.EncodingEnum;
import ca.uhn.fhir.rest.api.server.RequestDetails;
import ca.uhn.fhir.rest.server.RestfulServer;
import ca.uhn.fhir.rest.server.interceptor.RequestValidatingInterceptor;
import ca.uhn.fhir.rest.server.provider.ResourceProviderFactory;
import ca.uhn.fhir.rest.server.util.ISearchParamRegistry;
import ca.uhn.fhir.validation.IValidatorModule;
import ca.uhn.fhir.validation.ResultSeverityEnum;
import jakarta.servlet.http.HttpServletRequest;
import java.io.IOException;
import org.eclipse.jetty.ee10.servlet.ServletContextHandler;
import org.eclipse.jetty.ee10.servlet.ServletHolder;
import org.eclipse.jetty.server.Server;
import org.eclipse.jetty.server.ServerConnector;
import org.hl7.fhir.instance.model.api.IBaseConformance;
import org.springframework.context.annotation.AnnotationConfigApplicationContext;

/**
 * A FHIR R4 server on the loopback address; see {@link Storage} for where it keeps resources.
 *
 * <p>Arguments: the port (0 picks a free one) and, optionally, {@code --until-stdin-ends}: then the server stops
 * when its standard input closes, so that it never outlives the tests that started it. Standard output gets one
 * row, the base address, once requests are answered. With the system property {@code contract.judged} nothing is
 * validated: for a server that goes on with what one before it has judged.
 */
public final class TestServer {
    private static final String LOOPBACK = "127.0.0.1";

    private TestServer() {}

    public static void main(String[] args) {
        try {
            run(args);
        } catch (Exception fault) {
            fault.printStackTrace();
            System.exit(1);
        }
        System.exit(0); // the storage layer keeps threads that are of no use once requests stop
    }

    private static void run(String[] args) throws Exception {
        int port = Integer.parseInt(args[0]);
        boolean untilStdinEnds = args.length > 1 && args[1].equals("--until-stdin-ends");

        Server http = new Server();
        ServerConnector connector = new ServerConnector(http);
        connector.setHost(LOOPBACK);
        connector.setPort(port);
        http.addConnector(connector);
        connector.open(); // a port that is taken shows before the slow part

        AnnotationConfigApplicationContext storage = new AnnotationConfigApplicationContext(Storage.class);
        ServletContextHandler paths = new ServletContextHandler();
        paths.addServlet(new ServletHolder(fhir(storage)), "/fhir/*");
        http.setHandler(paths);
        http.setStopAtShutdown(true);
        http.start();
        System.out.println("http://" + LOOPBACK + ":" + connector.getLocalPort() + "/fhir");
        System.out.flush();

        if (untilStdinEnds) {
            waitForEndOfInput();
            http.stop();
        } else {
            http.join();
        }
    }

    private static void waitForEndOfInput() throws IOException {
        while (System.in.read() != -1) {
            // what is written does not matter, only that the writer still lives
        }
    }

    private static RestfulServer fhir(AnnotationConfigApplicationContext storage) {
        RestfulServer fhir = new RestfulServer(storage.getBean(FhirContext.class));
        fhir.registerProviders(storage.getBean(ResourceProviderFactory.class).createProviders());
        fhir.registerProvider(storage.getBean(JpaSystemProvider.class));
        JpaCapabilityStatementProvider capabilities = new SaidOnce(
                fhir,
                storage.getBean(IFhirSystemDao.class),
                storage.getBean(JpaStorageSettings.class),
                storage.getBean(ISearchParamRegistry.class),
                storage.getBean(IValidationSupport.class));
        capabilities.setImplementationDescription("In-memory server for contract tests");
        fhir.setServerConformanceProvider(capabilities);
        fhir.setPagingProvider(storage.getBean(DatabaseBackedPagingProvider.class));
        fhir.setDefaultResponseEncoding(EncodingEnum.JSON);
        if (!Boolean.getBoolean("contract.judged")) {
            fhir.registerInterceptor(strict(new Once(storage.getBean(IValidatorModule.class))));
        }
        return fhir;
    }

    /** Makes its statement once: the program asks before each sending, past all caches, and nothing here changes it. */
    private static final class SaidOnce extends JpaCapabilityStatementProvider {
        private IBaseConformance said;

        SaidOnce(
                RestfulServer fhir,
                IFhirSystemDao<?, ?> system,
                JpaStorageSettings settings,
                ISearchParamRegistry parameters,
                IValidationSupport definitions) {
            super(fhir, system, settings, parameters, definitions);
        }

        @Override
        @Metadata
        public synchronized IBaseConformance getServerConformance(HttpServletRequest request, RequestDetails details) {
            if (said == null) {
                said = super.getServerConformance(request, details);
            }
            return said;
        }
    }

    /** Refuses, before anything is stored, whatever breaks the R4 definitions. */
    private static RequestValidatingInterceptor strict(IValidatorModule rules) {
        RequestValidatingInterceptor validating = new RequestValidatingInterceptor();
        validating.addValidatorModule(rules);
        validating.setFailOnSeverity(ResultSeverityEnum.ERROR);
        validating.setAddResponseHeaderOnSeverity(null);
        return validating;
    }
}
